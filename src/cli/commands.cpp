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
