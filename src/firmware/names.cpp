#include "firmware/names.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>

#include <fmt/format.h>

namespace perdure {
namespace {

/// Words of C++20 that are none of C99 (those a project file refuses by itself), and of the headers that are included.
constexpr std::array cpp_words{"alignas",      "alignof",
                               "and",          "and_eq",
                               "asm",          "bitand",
                               "bitor",        "catch",
                               "char8_t",      "char16_t",
                               "char32_t",     "class",
                               "co_await",     "co_return",
                               "co_yield",     "compl",
                               "concept",      "const_cast",
                               "consteval",    "constexpr",
                               "constinit",    "decltype",
                               "delete",       "dynamic_cast",
                               "explicit",     "export",
                               "friend",       "mutable",
                               "namespace",    "new",
                               "noexcept",     "not",
                               "not_eq",       "nullptr",
                               "operator",     "or",
                               "or_eq",        "private",
                               "protected",    "public",
                               "requires",     "static_assert",
                               "static_cast",  "template",
                               "this",         "reinterpret_cast",
                               "thread_local", "throw",
                               "try",          "typeid",
                               "typename",     "using",
                               "virtual",      "wchar_t",
                               "xor",          "xor_eq"};

Diagnostic said(const Project& project, Place place, std::string message, std::string expected) {
    Diagnostic out;
    out.path = project.path;
    out.span.place = place;
    out.message = std::move(message);
    out.expected = std::move(expected);
    return out;
}

/// Who uses each name so far.
using Names = std::map<std::string, std::string, std::less<>>;

struct Claim {
    std::string name, owner;
    Place place;
};

std::vector<Claim> claims_of(const FirmwarePlan& plan, const std::string& prefix) {
    std::vector<Claim> out;
    const std::string upper = upper_case(prefix);
    for (const char* name :
         {"open", "state", "format", "service", "store", "area", "port_read", "port_program", "port_erase", "port_mask",
          "port_unmask", "health", "guard_look", "guard_day", "health_pack", "bench_run", "bench_send"}) {
        out.push_back({prefix + "_" + name, "the calls for all records", {}});
    }
    for (const char* name :
         {"H", "AREAS", "UNIT_BYTES", "ERASE_BLOCK_BYTES", "BLANK", "UNKNOWN_MAX", "RAM_PORT_H", "GUARD_H",
          "HEALTH_BYTES", "BENCH_H", "ALARM_SPENT_PERCENT", "ALARM_DAY_PERCENT", "OPEN_MODE", "SAVE_NOW"}) {
        out.push_back({upper + "_" + name, "the figures of the part", {}});
    }
    for (const char* name : {"payload", "state_of", "readable", "put16", "put32", "put64", "put_f32", "put_f64",
                             "get16", "get32", "get64", "get_f32", "get_f64", "CHECK", "convert", "perdure_features"}) {
        out.push_back({name, "the packing of records", {}});
    }
    for (const PlannedArea& area : plan.areas) {
        const std::string owner = fmt::format("[area.{}]", area.name);
        const std::string name = upper_case(area.name);
        for (const char* end : {"OFFSET", "BYTES", "BLOCKS", "BLOCK_UNITS", "BLOCK_BYTES", "CHECK_BITS",
                                "ERASES_ALLOWED", "UNITS_A_DAY"}) {
            out.push_back({fmt::format("{}_{}_{}", upper, name, end), owner, area.place});
        }
        out.push_back({fmt::format("{}_AREA_{}", upper, name), owner, area.place});
        for (const char* end : {"records", "ram", "read", "program", "erase", "port", "config", "flash"}) {
            out.push_back({fmt::format("{}_{}", area.name, end), owner, area.place});
        }
        for (const Record* record : area.records) {
            const std::string by = fmt::format("[record.{}]", record->name);
            for (const char* end : {"defaults", "fields", "now", "pack", "unpack", "waiting", "show", "first_from",
                                    "take_first", "take_page", "at", "fetch", "oldest"}) {
                out.push_back({fmt::format("{}_{}", record->name, end), by, record->place});
            }
            out.push_back({"convert_" + record->name, by, record->place});
            out.push_back({fmt::format("{}_convert_{}", prefix, record->name), by, record->place});
            for (const char* end : {"load", "save", "save_now", "unpack", "erase_old_copies", "append", "flush",
                                    "waiting", "next", "walk", "walk_back", "since", "visit", "clear"}) {
                out.push_back({fmt::format("{}_{}_{}", prefix, record->name, end), by, record->place});
            }
            for (const char* end : {"DEPTH", "BATCH"}) {
                out.push_back({fmt::format("{}_{}_{}", upper, upper_case(record->name), end), by, record->place});
            }
        }
    }
    return out;
}

std::optional<Diagnostic> cpp_word(const Project& project) {
    for (const Record& record : project.records) {
        for (const Field& field : record.fields) {
            if (std::find(cpp_words.begin(), cpp_words.end(), field.name) == cpp_words.end()) { continue; }
            return said(project, field.place,
                        fmt::format("\"{}\" is a word of C++, and what is emitted serves both", field.name),
                        "another name; the data in flash stay the same");
        }
    }
    return std::nullopt;
}

} // namespace

std::string upper_case(std::string_view name) {
    std::string out(name);
    for (char& c : out) { c = static_cast<char>(std::toupper(static_cast<unsigned char>(c))); }
    return out;
}

std::string for_comment(std::string_view text) {
    std::string out;
    char before = ' ';
    for (char c : text) {
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) { c = ' '; }
        if (c == '\\') { c = '/'; }
        if (c == '"') { c = '\''; }
        if (c == '$' || c == '`') { c = '?'; }
        if ((before == '*' && c == '/') || (before == '/' && c == '*') || (before == '?' && c == '?')) { out += ' '; }
        out += c;
        before = c;
    }
    return out;
}

std::vector<std::string> broken_lines(std::string_view text, size_t columns) {
    std::vector<std::string> out(1);
    while (!text.empty()) {
        const size_t end = std::min(text.find(' '), text.size());
        const std::string_view word = text.substr(0, end);
        text.remove_prefix(std::min(end + 1, text.size()));
        if (word.empty()) { continue; }
        if (!out.back().empty() && out.back().size() + 1 + word.size() > columns) { out.emplace_back(); }
        if (!out.back().empty()) { out.back() += ' '; }
        out.back() += word;
    }
    return out;
}

std::optional<std::string> why_no_prefix(std::string_view prefix) {
    const bool letter = !prefix.empty() && std::isalpha(static_cast<unsigned char>(prefix.front())) != 0;
    const bool fine = letter && prefix.size() <= 20 && std::all_of(prefix.begin(), prefix.end(), [](unsigned char c) {
                          return std::isalnum(c) != 0 || c == '_';
                      });
    if (!fine) {
        return fmt::format("\"{}\" cannot begin a name in C: a letter, then letters, digits or _, at most 20", prefix);
    }
    const std::string upper = upper_case(prefix);
    if (upper == "PERDURE" || upper == "STORE" || upper == "PORT" || upper == "CHECK_CONFIG") {
        return fmt::format("\"{}\" is the store's own", prefix);
    }
    return std::nullopt;
}

std::optional<Diagnostic> colliding_name(const Project& project, const FirmwarePlan& plan, const std::string& prefix) {
    if (auto word = cpp_word(project)) { return word; }
    Names names;
    for (const Claim& claim : claims_of(plan, prefix)) {
        const auto [known, added] = names.emplace(claim.name, claim.owner);
        if (added) { continue; }
        return said(project, claim.place,
                    fmt::format("{} and {} both come to \"{}\" in C", known->second, claim.owner, claim.name),
                    "another name for one of them; the data in flash stay the same");
    }
    for (const Record& record : project.records) { // structs have names of their own
        if (record.name != "area" && record.name != "health") { continue; }
        return said(project, record.place,
                    fmt::format("[record.area] comes to \"{}_area\" in C, which the areas have", prefix),
                    "another name for it; the data in flash stay the same");
    }
    return std::nullopt;
}

} // namespace perdure
