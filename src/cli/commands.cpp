#include "cli/commands.hpp"

namespace perdure {

const std::vector<Command>& commands() {
    static const std::vector<Command> table{
        {"check", "FILE", "read a project file and say what is in it, or what is wrong", "perdure check pump.toml", 1, 1, {}, run_check},
        {"parts", "[ID]", "list the catalogue's parts, or one part's figures and sources", "perdure parts stm32g071", 0, 1, {}, run_parts},
    };
    return table;
}

} // namespace perdure
