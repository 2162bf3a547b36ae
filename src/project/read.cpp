#include "project/read.hpp"

#include <algorithm>
#include <cctype>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr size_t file_bytes_max = 1U << 20U;

std::vector<std::string_view> split_lines(std::string_view text) {
    std::vector<std::string_view> lines;
    while (!text.empty()) {
        const size_t end = text.find('\n');
        std::string_view line = text.substr(0, end);
        if (!line.empty() && line.back() == '\r') { line.remove_suffix(1); }
        lines.push_back(line);
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    }
    return lines;
}

/// Length of the valid UTF-8 sequence at the front of `text`, 0 when there is none (Unicode 15, table 3-7).
size_t utf8_length(std::string_view text) {
    const auto byte = [&](size_t i) {
        return i < text.size() ? static_cast<unsigned>(static_cast<unsigned char>(text[i])) : 0U;
    };
    const auto follows = [&](size_t i) { return (byte(i) & 0xC0U) == 0x80U; };
    const unsigned first = byte(0);
    if (first < 0x80U) { return 1; }
    if (first >= 0xC2U && first <= 0xDFU) { return follows(1) ? 2 : 0; }
    if (first >= 0xE0U && first <= 0xEFU) {
        const bool shortest = first != 0xE0U || byte(1) >= 0xA0U;
        const bool surrogate = first == 0xEDU && byte(1) >= 0xA0U;
        return follows(1) && follows(2) && shortest && !surrogate ? 3 : 0;
    }
    if (first >= 0xF0U && first <= 0xF4U) {
        const bool shortest = first != 0xF0U || byte(1) >= 0x90U;
        const bool in_range = first != 0xF4U || byte(1) < 0x90U;
        return follows(1) && follows(2) && follows(3) && shortest && in_range ? 4 : 0;
    }
    return 0;
}

/// True when the text is UTF-8, else notes where it is not.
bool check_utf8(Source& source) {
    for (size_t i = 0; i < source.lines.size(); ++i) {
        std::string_view rest = source.lines[i];
        uint32_t column = 1;
        while (!rest.empty()) {
            const size_t length = utf8_length(rest);
            if (length == 0) {
                const auto byte = static_cast<unsigned>(static_cast<unsigned char>(rest.front()));
                source.complain({{static_cast<uint32_t>(i + 1), column}, 1},
                                fmt::format("the byte 0x{:02X} is not UTF-8 text", byte), "a text file in UTF-8");
                return false;
            }
            rest.remove_prefix(length);
            ++column;
        }
    }
    return true;
}

/// False, with an error, when a line has so many points that a dotted key could nest tables without end. The parser
/// bounds the depth of values but not of dotted keys, and a tree that deep overflows the stack when it is taken down.
bool check_points(Source& source) {
    constexpr ptrdiff_t points_max = 64;
    for (size_t i = 0; i < source.lines.size(); ++i) {
        const std::string_view line = source.lines[i];
        const size_t first = line.find_first_not_of(" \t");
        if (first == std::string_view::npos || line[first] == '#') { continue; }
        if (std::count(line.begin(), line.end(), '.') <= points_max) { continue; }
        source.complain({{static_cast<uint32_t>(i + 1), 1}, 1},
                        fmt::format("this line has more than {} points", points_max),
                        "a value of several lines, or shorter keys");
        return false;
    }
    return true;
}

/// What the parser says, without its words for its own inside and with a plainer one for the commonest slip.
std::string syntax_message(std::string_view said) {
    if (said.find("unescaped control characters") != std::string_view::npos) {
        return "not TOML: the text is not closed by a quote on its line";
    }
    if (said.rfind("Error while parsing ", 0) == 0) {
        const size_t colon = said.find(": ");
        said.remove_prefix(colon == std::string_view::npos ? 0 : colon + 2);
    }
    std::string message(said.substr(0, said.find(" (TOML_")));
    const std::string_view line_feed = "'\\n'";
    if (const size_t at = message.find(line_feed); at != std::string::npos) {
        message.replace(at, line_feed.size(), "the end of the line");
    }
    return fmt::format("not TOML: {}", message);
}

/// A hint when the parser stopped at a unit that follows a number.
std::string syntax_hint(std::string_view line, uint32_t column) {
    size_t at = std::min<size_t>(column == 0 ? 0 : column - 1, line.size());
    const bool letter = at < line.size() && std::isalpha(static_cast<unsigned char>(line[at])) != 0;
    while (at > 0 && line[at - 1] == ' ') { --at; }
    const bool digit = at > 0 && std::isdigit(static_cast<unsigned char>(line[at - 1])) != 0;
    return letter && digit ? "quotes around a value with its unit, such as \"45 s\"" : "";
}

void check_sections(Source& source, const toml::table& file) {
    check_keys(Section{source, file, "the file", {}},
               {"product", "part", "supply", "area", "record", "require", "profile", "endurance", "retention", "aged",
                "deadline", "energy", "qualification", "wear_out", "uncertainty", "errors"});
}

} // namespace

void read_product(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    if (!file.contains("product")) {
        if (has_misspelled(root, "product")) { return; }
        complain_missing(root, "[product]", "[product] with name = \"...\" and life = \"12 y\"");
        return;
    }
    const toml::table* table = get_table(root, "product");
    if (table == nullptr) { return; }
    const Section section{source, *table, "[product]", span_of_key(root, "product")};
    Product& product = project.product;
    product.place = section.span.place;
    check_keys(section, {"name", "life", "year", "starts", "starts_per_day", "lazy_start", "fleet"});
    if (!table->contains("name")) { complain_missing(section, "name", "name = \"valve controller\""); }
    if (!table->contains("life")) { complain_missing(section, "life", "life = \"12 y\""); }
    product.name = get_text(section, "name", "a name").value_or("");
    product.life_years =
        get_quantity(section, "life", Dimension::life_y, {0, 100, true, false, "above 0 y and at most 100 y"})
            .value_or(product.life_years);
    product.life_place = span_of_value(section, "life").place;
    constexpr double day_s = 86400;
    if (const auto year_s = get_quantity(section, "year", Dimension::time_s,
                                         {360 * day_s, 366 * day_s, false, false, "from 360 d to 366 d"})) {
        product.year_days = *year_s / day_s;
    }
    const Bounds often{0, 86400, false, false, "from 0 to 86400 a day"};
    auto starts = get_rate_per_day(section, "starts", product.year_days, often);
    if (table->contains("starts") && table->contains("starts_per_day")) {
        source.complain(span_of_key(section, "starts_per_day"), "\"starts\" and \"starts_per_day\" say the same",
                        "one of them");
    }
    const std::string_view starts_key = table->contains("starts") ? "starts" : "starts_per_day";
    if (!starts) { starts = get_number(section, "starts_per_day", often); }
    product.starts_per_day = starts.value_or(product.starts_per_day);
    product.starts_place = span_of_value(section, starts_key).place;
    product.lazy_start = get_yes(section, "lazy_start").value_or(false);
    product.lazy_place = span_of_value(section, "lazy_start").place;
    product.fleet_units = get_whole(section, "fleet", 1, 1000000000).value_or(1);
    product.fleet_place = span_of_value(section, "fleet").place;
}

void read_requirements(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    const toml::table* table = get_table(root, "require");
    if (table == nullptr) { return; }
    const Section section{source, *table, "[require]", span_of_key(root, "require")};
    Requirements& require = project.requirements;
    require.place = section.span.place;
    std::vector<std::string> keys{"margin",      "spend_limit", "put_stall",   "start_up",
                                  "flash_share", "loss_time",   "alarm_spent", "alarm_day"};
    keys.insert(keys.end(), condition_requirement_keys.begin(), condition_requirement_keys.end());
    check_keys(section, keys);
    read_condition_requirements(section, project.conditions.require);
    const Bounds share{0, 1, true, false, "a share above 0 and at most 1"};
    const Bounds time{0, 86400, true, false, "above 0 and at most 1 d"};
    require.margin_min =
        get_number(section, "margin", {0, 1000, true, false, "above 0 and at most 1000"}).value_or(require.margin_min);
    require.spend_limit = get_number(section, "spend_limit", share).value_or(require.spend_limit);
    require.alarm_spent = get_number(section, "alarm_spent", share).value_or(require.alarm_spent);
    require.alarm_day =
        get_number(section, "alarm_day", {1, 1000, false, false, "from 1 to 1000"}).value_or(require.alarm_day);
    require.flash_share_max = get_number(section, "flash_share", share);
    const auto to_ms = [](double s) { return s * 1e3; };
    if (const auto stall_s = get_quantity(section, "put_stall", Dimension::time_s, time)) {
        require.put_stall_max_ms = to_ms(*stall_s);
    }
    if (const auto start_s = get_quantity(section, "start_up", Dimension::time_s, time)) {
        require.start_up_max_ms = to_ms(*start_s);
    }
    require.loss_time_max_s = get_quantity(section, "loss_time", Dimension::time_s, loss_bounds);
    require.loss_time_place = span_of_value(section, "loss_time").place;
    require.margin_place = place_if_said(section, "margin");
    require.spend_limit_place = place_if_said(section, "spend_limit");
    require.put_stall_place = span_of_value(section, "put_stall").place;
    require.start_up_place = span_of_value(section, "start_up").place;
    require.flash_share_place = span_of_value(section, "flash_share").place;
}

tl::expected<Project, std::vector<Diagnostic>> read_project(std::string_view text, std::string path,
                                                            const Catalog& catalog) {
    Source source{std::move(path), split_lines(text), {}};
    if (!check_utf8(source) || !check_points(source)) { return tl::unexpected(std::move(source.found)); }
    Project project;
    project.path = source.path;
    try {
        const toml::table file = toml::parse(text, std::string_view{});
        check_sections(source, file);
        read_product(source, file, project);
        read_part(source, file, catalog, project);
        read_areas(source, file, project);
        read_supply(source, file, project);
        read_requirements(source, file, project);
        read_records(source, file, project);
        read_temperatures(source, file, project);
        read_reviews(source, file, project);
    } catch (const toml::parse_error& error) {
        const toml::source_position& at = error.source().begin;
        source.complain({{at.line, at.column}, 1}, syntax_message(error.description()),
                        syntax_hint(source.line(at.line), at.column));
    }
    if (source.found.empty()) { return project; }
    order_by_place(source.found);
    return tl::unexpected(std::move(source.found));
}

tl::expected<Project, std::vector<Diagnostic>> load_project(const std::string& path, const Catalog& catalog) {
    Source source{path, {}, {}};
    const auto refuse = [&](std::string message) {
        source.complain({{0, 0}, 1}, std::move(message));
        return tl::unexpected(std::move(source.found));
    };
    const auto because = [](std::string_view what) {
        return errno == 0 ? std::string(what) : fmt::format("{}: {}", what, std::strerror(errno));
    };
    errno = 0;
    std::ifstream file(path, std::ios::binary);
    if (!file) { return refuse(because("cannot be opened")); }
    std::string text(file_bytes_max + 1, '\0');
    file.read(text.data(), static_cast<std::streamsize>(text.size()));
    if (file.bad() || (file.fail() && !file.eof())) { return refuse(because("cannot be read")); }
    text.resize(static_cast<size_t>(file.gcount()));
    if (text.size() > file_bytes_max) { return refuse("is larger than 1 MiB, which no project file is"); }
    return read_project(text, path, catalog);
}

} // namespace perdure
