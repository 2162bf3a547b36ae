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
