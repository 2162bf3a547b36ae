#include "tests/message_rules.hpp"

#include <algorithm>
#include <map>
#include <regex>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace perdure {
namespace {

/// By folder, calls whose argument of that number is a message, and their others none.
const std::map<std::string, std::map<std::string, size_t>> message_argument{
    {"project/", {{"complain", 1}, {"complain_beside", 2}, {"complain_missing", 3}, {"refuse_key", 2}}},
    {"cli/", {{"complain", 1}, {"complain_rendered", 1}}},
    {"hex/", {{"complain", 2}}},
    {"firmware/", {{"said", 2}, {"at", 2}}},
};
const std::map<std::string, size_t> name_argument{{"named", 0}, {"missing", 0}, {"breach", 1}}; ///< any number of words

/// Calls that print nothing of their literals but what is expected (it stands beside a message), where a number comes
/// from, and words that are compared.
const std::set<std::string> no_message_in{
    "complain_type",    "see_also",      "get_text",     "get_choice", "get_number", "get_quantity",
    "get_rate_per_day", "get_address",   "tables_of",    "check_keys", "needed",     "needed_temperature",
    "needed_erases",    "read_quantity", "NeededFigure", "find",       "rfind",      "by_formula",
    "from_part",        "from_file",     "set_content",  "assert",
};

/// Files that print tables, lists, steps, code or labels; in them only what is given back as an error is a message.
const std::set<std::string> tables_only{
    "budget/demand.cpp",         // formulas of where the numbers come from
    "budget/levers.cpp",         // names of inputs, for --sensitivity
    "cli/commands.cpp",          // help, which docs/guide.md tells
    "cli/image_report.cpp",      // the steps of docs/image.md
    "cli/manual.cpp",            // the manual page
    "cuts/plan.cpp",             // what is tried, docs/testing.md
    "dossier/curves.cpp",        // names of curves
    "dossier/dossier.cpp",       // what a file of --age lacks; said as "is no result of"
    "dump/labels.cpp",           // what a unit holds, docs/inspect.md
    "dump/listing.cpp",          // the same, unit by unit
    "dump/ranges.cpp",           // the signs of the map
    "firmware/field_code.cpp",   // emitted C
    "firmware/firmware.cpp",     // names of files
    "firmware/model.cpp",        // emitted C
    "firmware/model_record.cpp", // emitted C
    "firmware/size_table.cpp",   // names of files
    "firmware/traps.cpp",        // comments of the emitted port
    "fleet/database.cpp",        // SQL
    "project/show_save.cpp",     // a save in words
};

/// Calls that give an error back.
const std::set<std::string> gives_error{"unexpected", "complain", "complain_rendered", "refuse", "Refusal"};

/// Files whose enumerations have names that are printed: the word behind "case ...: return" is told too.
const std::set<std::string> named_here{"budget/text.cpp"};

/// How figures, headings and tables that are no messages begin. docs/guide.md shows most of them.
const std::vector<std::string> labels{
    // budget
    ", one erase of every block",
    "which input kills the margin first",
    "what fails there",
    "full bar: at once",
    "shortest single changes",
    "default, docs/project-file.md",
    "where the numbers come from",
    "full, short: units",
    "saves over life",
    "wear: of all units",
    "sample in flight",
    "samples an entry",
    "bytes of an entry",
    "bytes of the depth's entries",
    "flash / raw bytes",
    "samples kept at least",
    "erases a block over life",
    "{}: lognormal, 95 %",
    "{}: triangular, {:g} to",
    // choose
    "> the choice; * on the front",
    "m  rests on figures",
    "r  starts reckoned",
    "b  the time on the bus",
    "/N  periodic saves",
    "batchN  N samples",
    "lazy  starts program",
    "stall: longest put",
    "score: weighted mean",
    // age
    "and {} more blocks",
    "full bar: {} allowed",
    "{} ring blocks of {} units of {} B on",
    "(a total after a save",
    "write amplification",
    "longest put {:.3g} ms",
    "programming and erasing {:.4g} s",
    "{:.2f} s, {:.1f} million",
    // check
    "program unit {}, blank",
    "at most {} to erase",
    "from memory, check before use",
    "one value that holds them all",
    "each an entry of its own",
    "{} samples of {} kept",
    "supply   trips at",
    "to be found",
    "{:.4g} dips a day beside",
    "product  {}",
    "starts are lazy",
    "area     {}",
    "smallest that holds",
    "at the top",
    "record   {}",
    "heavy user: ",
    // cut, cut-log, emit
    "{:.0f} s left in this part",
    "{:.0f} s so far",
    "{} starts, {} of them cut",
    "cut: saves that had not returned",
    "what it hit reads",
    "no put then",
    "{} blocks of {} units of {} B on",
    "{:<22}{:>13} cut trials",
    "{} cut points, {} cut trials",
    "saved when the supply fails: ",
    "Each distinct trial",
    "The flash before the first cut",
    "The flash at the start that shows it",
    "<testcase",
    "<failure",
    "<system-out",
    "<?xml",
    "area {}: {} ring blocks of {} bytes, 0x",
    "takes, in bytes",
    "RAM: up to 3 bytes",
    "data.c: about",
    // help and parts
    "perdure keeps a product's data",
    "perdure --manual, --completion",
    "perdure {}: {}\n\nuse",
    "print JSON instead of text",
    "can carry a store",
    "with more figures",
    "{} parts, {} can carry",
    "no source given",
    "It can carry a store",
    "It cannot carry a store as it is",
    "*: from memory",
    // inspect, many dumps
    "wear: erases of each unit's most worn block",
    "damage              units",
    "{:.2f} s, {:.1f} MB of dumps",
    "history, the newest last",
    "area {} at {}: {} blocks of",
    "{} bytes, {} of them outside",
    // the page
    "default-src 'none'",
    "text/html",
    ": data storage review",
    // owners of names in C
    "; nearest: {}",
    "the calls for all records",
    "the figures of the part",
    "the packing of records",
};

std::string trimmed(const std::string& text) {
    const size_t first = text.find_first_not_of(" \n");
    return first == std::string::npos ? "" : text.substr(first);
}

bool under(const Literal& literal, const std::string& folder) {
    return literal.file.rfind(folder, 0) == 0;
}

/// The calls around a literal, judged: no message, a message of three words or more, an error or name of any length.
enum class Place { none, text, any };

Place place_of(const Literal& literal) {
    Place out = tables_only.contains(literal.file) ? Place::none : Place::text;
    for (auto call = literal.calls.rbegin(); call != literal.calls.rend(); ++call) {
        if (no_message_in.contains(call->first)) { return Place::none; }
        if (gives_error.contains(call->first)) { out = Place::any; }
        for (const auto& [folder, arguments] : message_argument) {
            const auto argument = arguments.find(call->first);
            if (!under(literal, folder) || argument == arguments.end()) { continue; }
            if (argument->second != call->second) { return Place::none; }
            out = Place::any;
        }
        const auto name = name_argument.find(call->first);
        if (name != name_argument.end() && name->second == call->second &&
            (under(literal, "budget/") || under(literal, "upgrade/"))) {
            out = Place::any;
        }
    }
    return out;
}

} // namespace

bool is_message(const Literal& literal) {
    static const std::regex named("case [A-Za-z:_]+: return $");
    const size_t words = words_in(literal.text);
    if (named_here.contains(literal.file) && std::regex_search(literal.before, named)) { return words > 0; }
    const Place place = place_of(literal);
    if (place == Place::none || words == 0) { return false; }
    static const std::regex loud("(^|[^A-Za-z])[A-Z]{2,}( [A-Z]+)+([^A-Za-z]|$)"); // "THEY DISAGREE"
    if (place == Place::text && words == 2 && std::regex_search(literal.text, loud)) { return true; }
    const bool one_word = literal.text.find(' ') == std::string::npos;
    if (place == Place::text && (words < 3 || one_word)) { return false; }
    // Keys of JSON, units and words that are compared, in calls that give errors.
    if (one_word && literal.calls.back() != std::pair<std::string, size_t>("named", 0)) { return false; }
    // The words of a bound ("KEY must be ..."), and what is expected, under a name of its own.
    static const std::regex bound("(true|false), ?$");
    static const std::regex expected("(expected|example|said) ?=? ?[({]?$");
    if (std::regex_search(literal.before, bound) || std::regex_search(literal.before, expected)) { return false; }
    if (!literal.calls.empty() && literal.calls.back() == std::pair<std::string, size_t>("pair", 1)) { return false; }
    static const std::regex such_as("^an? [a-z ]+ such as \"");
    if (std::regex_search(literal.text, such_as)) { return false; }
    const std::string text = trimmed(literal.text);
    return std::none_of(labels.begin(), labels.end(),
                        [&](const std::string& label) { return text.rfind(label, 0) == 0; });
}

} // namespace perdure
