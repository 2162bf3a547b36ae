// The program's commands as one table. To add a command: a file command_NAME.cpp with its run function, a declaration
// here and a row in commands.cpp.
#pragma once

#include <iosfwd>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace perdure {

/// Exit codes of every command.
enum ExitCode : int {
    exit_ok = 0,          ///< all requirements hold
    exit_not_met = 1,     ///< a requirement does not
    exit_input_wrong = 2, ///< the project file, an option or the command line is wrong
};

/// An option of a command, beside --json which each has.
struct CommandOption {
    std::string_view name;       ///< with the dashes: "--units"; one of a single dash, "-o", has to be given
    std::string_view value_name; ///< "N"; empty for a switch
    std::string_view help;
};

/// What was typed after the command's name.
struct CommandInput {
    std::vector<std::string> arguments;
    std::map<std::string, std::string, std::less<>> options; ///< by name with dashes; a switch that is on holds "1"
    bool json = false;
};

struct Command {
    std::string_view name;
    std::string_view arguments; ///< as shown: "FILE", "[ID]"
    std::string_view summary;   ///< one line
    std::string_view example;
    size_t arguments_min = 0;
    size_t arguments_max = 0;
    std::vector<CommandOption> options;
    int (*run)(const CommandInput& input, std::ostream& out, std::ostream& err) = nullptr;
};

/// All commands, in the order of the help text.
const std::vector<Command>& commands();

/// Its arguments and the options that have to be given: "FILE -o OUT".
std::string use_of(const Command& command);

/// Parses the command line and runs the command. Gives the exit code.
int run_command_line(int argc, const char* const* argv, std::ostream& out, std::ostream& err);

int run_age(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_budget(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_choose(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_check(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_cut_log(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_cut(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_emit(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_image(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_inspect(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_open(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_ship(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_upgrade(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_parts(const CommandInput& input, std::ostream& out, std::ostream& err);
int run_report(const CommandInput& input, std::ostream& out, std::ostream& err);

} // namespace perdure
