// The only file that includes the command line parser.
#include <algorithm>
#include <list>
#include <ostream>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/manual.hpp"
#include "project/diagnostic.hpp"

namespace perdure {
namespace {

/// One command as the parser fills it in.
struct Bound {
    const Command* command = nullptr;
    CLI::App* app = nullptr;
    CommandInput input;
};

void show_help(std::ostream& out) {
    out << "perdure keeps a product's data for its whole life in the microcontroller's own\n"
           "flash: it reads a project file and works out what holds and what does not.\n\n"
           "use: perdure COMMAND [ARGUMENTS] [--json]\n\ncommands:\n";
    for (const Command& command : commands()) {
        const std::string use = fmt::format("{} {}", command.name, command.arguments);
        out << fmt::format("  {:<19}{}\n", use, command.summary);
    }
    out << "\nexamples:\n";
    for (const Command& command : commands()) { out << fmt::format("  {}\n", command.example); }
    out << "\nperdure --manual, --completion: a manual page (man -l), a completion for bash\n"
           "every command: --json for the same as JSON, --help for its options\n"
           "exit code: 0 all requirements hold, 1 one does not, 2 the input is wrong\n";
}

void show_command_help(const Command& command, std::ostream& out) {
    out << fmt::format("perdure {}: {}\n\nuse: perdure {} {}\n\noptions:\n", command.name, command.summary,
                       command.name, use_of(command));
    for (const CommandOption& option : command.options) {
        out << fmt::format("  {:<20}{}\n",
                           option.value_name.empty() ? std::string(option.name)
                                                     : fmt::format("{} {}", option.name, option.value_name),
                           option.help);
    }
    out << fmt::format("  {:<20}{}\n  {:<20}{}\n\nexample:\n  {}\n", "--json",
                       "print JSON instead of text, errors of the input too", "--help", "print this", command.example);
}

/// What is wrong with the words themselves: as JSON where --json is among them.
int complain_of_words(int argc, const char* const* argv, const std::string& text, std::ostream& out,
                      std::ostream& err) {
    CommandInput input;
    input.json = std::any_of(argv, argv + argc, [](const char* word) { return std::string_view(word) == "--json"; });
    return complain(input, text, out, err);
}

/// Where the first word is no command, the message, with the nearest one; else empty.
std::string unknown_command(int argc, const char* const* argv) {
    if (argc < 2 || argv[1][0] == '-') { return ""; }
    std::vector<std::string> names;
    for (const Command& command : commands()) { names.emplace_back(command.name); }
    for (const std::string& name : names) {
        if (name == argv[1]) { return ""; }
    }
    const std::string near = nearest(argv[1], names);
    std::string out = fmt::format("no command \"{}\"\n", argv[1]);
    if (!near.empty()) { out += fmt::format("  nearest: {}\n", near); }
    return out + "  perdure --help lists the commands";
}

void bind(CLI::App& app, std::list<Bound>& all) {
    for (const Command& command : commands()) {
        Bound& bound = all.emplace_back();
        bound.command = &command;
        bound.app = app.add_subcommand(std::string(command.name));
        bound.app->set_help_flag("--help,-h", "");
        bound.app->add_flag("--json", bound.input.json);
        if (command.arguments_max > 0) {
            bound.app->add_option("arguments", bound.input.arguments)
                ->expected(static_cast<int>(command.arguments_min), static_cast<int>(command.arguments_max));
        }
        for (const CommandOption& option : command.options) {
            const std::string name(option.name);
            CommandInput& input = bound.input;
            if (option.value_name.empty()) {
                bound.app->add_flag_callback(name, [&input, name] { input.options[name] = "1"; });
            } else {
                bound.app->add_option_function<std::string>(
                    name, [&input, name](const std::string& value) { input.options[name] = value; });
            }
        }
    }
}

const Bound* chosen(const std::list<Bound>& all) {
    for (const Bound& bound : all) {
        if (bound.app->parsed()) { return &bound; }
    }
    return nullptr;
}

} // namespace

std::string use_of(const Command& command) {
    std::string out(command.arguments);
    for (const CommandOption& option : command.options) {
        if (!option.name.starts_with("--")) { out += fmt::format(" {} {}", option.name, option.value_name); }
    }
    return out;
}

int run_command_line(int argc, const char* const* argv, std::ostream& out, std::ostream& err) {
    if (argc < 2) {
        show_help(err);
        return exit_input_wrong;
    }
    if (const std::string unknown = unknown_command(argc, argv); !unknown.empty()) {
        return complain_of_words(argc, argv, unknown, out, err);
    }
    CLI::App app;
    std::list<Bound> all; // a list, so that the parser's references stay good
    bool version = false;
    bool manual = false;
    bool completion = false;
    app.set_help_flag("--help,-h", "");
    app.add_flag("--version", version);
    app.add_flag("--manual", manual);
    app.add_flag("--completion", completion);
    bind(app, all);
    try {
        app.parse(argc, argv);
    } catch (const CLI::CallForHelp&) {
        const Bound* bound = chosen(all);
        if (bound != nullptr) {
            show_command_help(*bound->command, out);
        } else {
            show_help(out);
        }
        return exit_ok;
    } catch (const CLI::ParseError& error) {
        const std::string text = fmt::format("{}\n  perdure {}--help says what can be given", error.what(),
                                             chosen(all) != nullptr ? std::string(argv[1]) + " " : "");
        return complain_of_words(argc, argv, text, out, err);
    }
    if (version) {
        out << "perdure " << PERDURE_VERSION << '\n';
        return exit_ok;
    }
    if (manual || completion) {
        out << (manual ? manual_page() : bash_completion());
        return exit_ok;
    }
    const Bound* bound = chosen(all);
    if (bound == nullptr) {
        show_help(err);
        return exit_input_wrong;
    }
    if (bound->input.arguments.size() < bound->command->arguments_min) {
        const std::string text = fmt::format("{} needs {}\n  such as: {}", bound->command->name,
                                             use_of(*bound->command), bound->command->example);
        return complain(bound->input, text, out, err);
    }
    return bound->command->run(bound->input, out, err);
}

} // namespace perdure
