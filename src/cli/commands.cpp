#include "cli/commands.hpp"

namespace perdure {

const std::vector<Command>& commands() {
    static const std::vector<Command> table{
        {
            .name = "check",
            .arguments = "FILE",
            .summary = "read a project file and say what is in it, or what is wrong",
            .example = "perdure check pump.toml",
            .arguments_min = 1,
            .arguments_max = 1,
            .options = {},
            .run = run_check,
        },
        {
            .name = "budget",
            .arguments = "FILE",
            .summary = "wear, stalls, start-up and flash over life, each number traced",
            .example = "perdure budget pump.toml",
            .arguments_min = 1,
            .arguments_max = 1,
            .options = {},
            .run = run_budget,
        },
        {
            .name = "age",
            .arguments = "FILE",
            .summary = "live the whole life on the real store and a simulated flash",
            .example = "perdure age pump.toml",
            .arguments_min = 1,
            .arguments_max = 1,
            .options = {{"--seed", "N", "saves by chance and values follow from it (default 1)"},
                        {"--turns", "N", "the fast way: run N turns of the ring, then extend"},
                        {"--no-service", "", "never call service: put does all the work"}},
            .run = run_age,
        },
        {
            .name = "cut",
            .arguments = "FILE",
            .summary = "cut the power everywhere and prove that nothing is lost",
            .example = "perdure cut pump.toml",
            .arguments_min = 1,
            .arguments_max = 1000,
            .options = {{"--seconds", "N", "stop after about so long; what was not tried is said"},
                        {"--depth", "N", "more cuts in starts (default 2; 1 on 2 or 3 blocks)"},
                        {"--length", "N", "sequences of so many actions on the small ring (default 2)"},
                        {"--nested", "N", "saves of a turn whose starts are cut too (default 50)"},
                        {"--shard", "I/N", "only the Ith of N parts of the work"},
                        {"--merge", "", "FILEs are what --shard with --json put out: add them up"},
                        {"--replay", "PART:PATH", "play one failure again, with the flash before and after"},
                        {"--junit", "FILE", "write the result as JUnit XML too"},
                        {"--threads", "N", "default: one a core"},
                        {"--collateral", "", "a cut may damage the unit before the one it hits"},
                        {"--undecided", "", "weak units may change from one read to the next"},
                        {"--blank-faults", "", "reading an erased unit faults"}},
            .run = run_cut,
        },
        {
            .name = "emit",
            .arguments = "FILE DIR",
            .summary = "write the firmware's C sources, a test and build files into DIR",
            .example = "perdure emit pump.toml data",
            .arguments_min = 2,
            .arguments_max = 2,
            .options = {{"--prefix", "NAME", "what every name and file begins with (default data)"},
                        {"--force", "", "overwrite files that others wrote or changed"}},
            .run = run_emit,
        },
        {
            .name = "parts",
            .arguments = "[ID]",
            .summary = "list the catalogue's parts, or one part's figures and sources",
            .example = "perdure parts stm32g071",
            .arguments_min = 0,
            .arguments_max = 1,
            .options = {},
            .run = run_parts,
        },
    };
    return table;
}

} // namespace perdure
