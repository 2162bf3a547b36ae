#include "cli/manual.hpp"

#include <fmt/format.h>

#include "cli/commands.hpp"

namespace perdure {
namespace {

/// The text as roff takes it literally.
std::string roff(std::string_view text) {
    std::string out = text.rfind('.', 0) == 0 || text.rfind('\'', 0) == 0 ? "\\&" : "";
    for (const char c : text) {
        if (c == '\\') {
            out += "\\e";
        } else if (c == '-') {
            out += "\\-";
        } else {
            out += c;
        }
    }
    return out;
}

void add_option(std::string_view name, std::string_view value, std::string_view help, std::string& out) {
    out += fmt::format(".TP\n.B {}{}\n{}\n", roff(name), value.empty() ? "" : fmt::format(" \\fI{}\\fR", roff(value)),
                       roff(help));
}

} // namespace

std::string manual_page() {
    std::string out = fmt::format(".TH PERDURE 1 \"\" \"perdure {}\" \"User Commands\"\n", PERDURE_VERSION);
    out += ".SH NAME\nperdure \\- data kept for life in a microcontroller's own flash\n"
           ".SH SYNOPSIS\n.B perdure\n.I COMMAND\n[\\fIARGUMENTS\\fR] [\\fIOPTIONS\\fR]\n"
           ".SH DESCRIPTION\n"
           "Reads a project file, which says what a product must keep, on which part and for how long, and works out "
           "what holds\n"
           "and what does not.\n.SH COMMANDS\n";
    for (const Command& command : commands()) {
        out += fmt::format(".SS perdure {} \\fI{}\\fR\n{}.\n", roff(command.name), roff(use_of(command)),
                           roff(command.summary));
        for (const CommandOption& option : command.options) {
            add_option(option.name, option.value_name, option.help, out);
        }
        out += fmt::format(".PP\nExample:\n.PP\n.nf\n.RS\n{}\n.RE\n.fi\n", roff(command.example));
    }
    out += ".SH OPTIONS OF EVERY COMMAND\n";
    add_option("--json", "", "print JSON instead of text", out);
    add_option("--help", "", "print the command's options", out);
    out += ".SH EXIT STATUS\n.TP\n.B 0\nall requirements hold\n.TP\n.B 1\none does not\n.TP\n.B 2\nthe input is wrong\n"
           ".SH CAUTIONS\nThe program gives no type approval and no safety case. Check every figure against the part's "
           "data sheet; a\n"
           "simulated flash is a model. Local codes and licensed practice come first.\n";
    return out;
}

std::string bash_completion() {
    std::string out = "# bash completion of perdure, from its table of commands\n_perdure() {\n"
                      "    local word=${COMP_WORDS[COMP_CWORD]} command=${COMP_WORDS[1]}\n    COMPREPLY=()\n"
                      "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n        mapfile -t COMPREPLY < <(compgen -W \"";
    for (const Command& command : commands()) { out += std::string(command.name) + ' '; }
    out += "--help --version\" -- \"$word\")\n        return\n    fi\n    case $word in\n    -*)\n        case "
           "$command in\n";
    for (const Command& command : commands()) {
        out += fmt::format("        {}) mapfile -t COMPREPLY < <(compgen -W \"--json --help", command.name);
        for (const CommandOption& option : command.options) { out += ' ' + std::string(option.name); }
        out += "\" -- \"$word\") ;;\n";
    }
    return out + "        esac\n        ;;\n    *) mapfile -t COMPREPLY < <(compgen -f -- \"$word\") ;;\n    esac\n}\n"
                 "complete -o filenames -F _perdure perdure\n";
}

} // namespace perdure
