#include "project/section.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace perdure {
namespace {

std::string_view kind_of(const toml::node& node) {
    switch (node.type()) {
    case toml::node_type::table:
        return "a table";
    case toml::node_type::array:
        return "an array";
    case toml::node_type::string:
        return "a text";
    case toml::node_type::integer:
        return "a whole number";
    case toml::node_type::floating_point:
        return "a number with a point";
    case toml::node_type::boolean:
        return "true or false";
    default:
        return "a date or time";
    }
}

Span region_span(const toml::source_region& region) {
    Span span{{region.begin.line, region.begin.column}, 1};
    if (region.end.line == region.begin.line && region.end.column > region.begin.column) {
        span.length = region.end.column - region.begin.column;
    }
    return span;
}

void complain_type(const Section& section, std::string_view key, const toml::node& node, std::string expected,
                   std::string nearest_known = {}) {
    section.source.complain(span_of(node), fmt::format("\"{}\" is {}", key, kind_of(node)), std::move(expected),
                            std::move(nearest_known));
}

/// The value when it is an integer or a float, NaN included.
std::optional<double> plain_number(const toml::node& node) {
    if (node.is_integer()) { return static_cast<double>(node.as_integer()->get()); }
    if (node.is_floating_point()) { return node.as_floating_point()->get(); }
    return std::nullopt;
}

} // namespace

std::string Source::line(uint32_t number) const {
    return number == 0 || number > lines.size() ? std::string{} : std::string(lines[number - 1]);
}

Diagnostic& Source::complain(const Span& span, std::string message, std::string expected, std::string nearest_known) {
    Diagnostic diagnostic;
    diagnostic.path = path;
    diagnostic.span = span;
    diagnostic.message = std::move(message);
    diagnostic.line_text = line(span.place.line);
    diagnostic.expected = std::move(expected);
    diagnostic.nearest = std::move(nearest_known);
    found.push_back(std::move(diagnostic));
    return found.back();
}

void Source::see_also(Diagnostic& diagnostic, const Span& span, std::string text) const {
    diagnostic.elsewhere.push_back({span, std::move(text), line(span.place.line)});
}

Span span_of(const toml::node& node) {
    return region_span(node.source());
}

Span span_of(const toml::key& key) {
    return region_span(key.source());
}

Span span_of_key(const Section& section, std::string_view key) {
    const auto found = section.table.find(key);
    return found == section.table.end() ? section.span : span_of(found->first);
}

Span span_of_value(const Section& section, std::string_view key) {
    const toml::node* node = section.table.get(key);
    return node == nullptr ? section.span : span_of(*node);
}

Place place_if_said(const Section& section, std::string_view key) {
    const toml::node* node = section.table.get(key);
    return node == nullptr ? Place{} : span_of(*node).place;
}

std::string listed(const std::vector<std::string>& words) {
    std::string out;
    for (size_t i = 0; i < words.size(); ++i) {
        out += i == 0 ? "" : i + 1 == words.size() ? " or " : ", ";
        out += words[i];
    }
    return out;
}

void check_keys(const Section& section, const std::vector<std::string>& known) {
    for (const auto& [key, node] : section.table) {
        if (std::find(known.begin(), known.end(), key.str()) != known.end()) { continue; }
        section.source.complain(span_of(key), fmt::format("unknown key \"{}\" in {}", key.str(), section.title),
                                listed(known), nearest(key.str(), known));
    }
}

bool has_misspelled(const Section& section, std::string_view key) {
    const std::vector<std::string> wanted{std::string(key)};
    for (const auto& [other, node] : section.table) {
        if (other.str() != key && !nearest(other.str(), wanted).empty()) { return true; }
    }
    return false;
}

void complain_missing(const Section& section, std::string_view key, std::string_view example, std::string_view why) {
    if (has_misspelled(section, key)) { return; }
    section.source.complain(section.span,
                            fmt::format("{} has no \"{}\"{}{}", section.title, key, why.empty() ? "" : ": ", why),
                            fmt::format("a line such as {}", example));
}

std::optional<std::string> get_text(const Section& section, std::string_view key, std::string_view expected) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    if (!node->is_string()) {
        complain_type(section, key, *node, std::string(expected));
        return std::nullopt;
    }
    return node->as_string()->get();
}

bool check_bounds(const Section& section, std::string_view key, double value, const Bounds& bounds) {
    const bool low =
        !(value >= bounds.least) || (bounds.above_least && value <= bounds.least); // the first also for NaN
    const bool high = !(value <= bounds.most) || (bounds.below_most && value >= bounds.most);
    if (!low && !high) { return true; }
    section.source.complain(span_of_value(section, key), fmt::format("\"{}\" must be {}", key, bounds.said));
    return false;
}

std::optional<double> get_number(const Section& section, std::string_view key, const Bounds& bounds) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    const std::optional<double> value = plain_number(*node);
    if (!value) {
        complain_type(section, key, *node, fmt::format("a number {}", bounds.said));
        return std::nullopt;
    }
    return check_bounds(section, key, *value, bounds) ? value : std::nullopt;
}

std::optional<uint64_t> get_whole(const Section& section, std::string_view key, uint64_t least, uint64_t most) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    const std::string range = fmt::format("a whole number from {} to {}", least, most);
    if (!node->is_integer()) {
        complain_type(section, key, *node, range);
        return std::nullopt;
    }
    const int64_t value = node->as_integer()->get();
    if (value < 0 || static_cast<uint64_t>(value) < least || static_cast<uint64_t>(value) > most) {
        section.source.complain(span_of(*node), fmt::format("\"{}\" is {}", key, value), range);
        return std::nullopt;
    }
    return static_cast<uint64_t>(value);
}

std::optional<double> get_quantity(const Section& section, std::string_view key, Dimension dimension,
                                   const Bounds& bounds) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    if (!node->is_string()) {
        complain_type(section, key, *node, std::string(example_of(dimension)));
        return std::nullopt;
    }
    const auto value = parse_quantity(node->as_string()->get(), dimension);
    if (!value) {
        section.source.complain(span_of(*node), value.error().message, std::string(example_of(dimension)),
                                value.error().nearest);
        return std::nullopt;
    }
    return check_bounds(section, key, *value, bounds) ? std::optional(*value) : std::nullopt;
}

std::optional<uint64_t> get_size(const Section& section, std::string_view key, uint64_t least, uint64_t most) {
    const std::string said = fmt::format("from {} B to {} B", least, most);
    const auto value =
        get_quantity(section, key, Dimension::size_bytes, {double(least), double(most), false, false, said});
    if (!value) { return std::nullopt; }
    if (*value != std::floor(*value)) {
        section.source.complain(span_of_value(section, key),
                                fmt::format("\"{}\" is {} bytes, which is not whole", key, *value));
        return std::nullopt;
    }
    return static_cast<uint64_t>(*value);
}

std::optional<double> get_rate_per_day(const Section& section, std::string_view key, double year_days,
                                       const Bounds& bounds) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    const std::string expected = "a rate such as \"4/day\", \"2/h\" or \"6/year\"";
    if (!node->is_string()) {
        complain_type(section, key, *node, expected);
        return std::nullopt;
    }
    const auto value = parse_rate_per_day(node->as_string()->get(), year_days);
    if (!value) {
        section.source.complain(span_of(*node), value.error().message, expected, value.error().nearest);
        return std::nullopt;
    }
    return check_bounds(section, key, *value, bounds) ? std::optional(*value) : std::nullopt;
}

std::optional<uint64_t> get_address(const Section& section, std::string_view key) {
    constexpr uint64_t most = 0xFFFFFFFFFFULL; // 40 bits: beyond any microcontroller's address bus
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    if (node->is_integer()) { return get_whole(section, key, 0, most); }
    const std::string expected = "an address such as \"0x0801F000\"";
    if (!node->is_string()) {
        complain_type(section, key, *node, expected);
        return std::nullopt;
    }
    const std::string& text = node->as_string()->get();
    uint64_t value = 0;
    const bool hex = text.size() > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X');
    const char* first = text.data() + (hex ? 2 : 0);
    const auto [end, error] = std::from_chars(first, text.data() + text.size(), value, 16);
    if (!hex || error != std::errc{} || end != text.data() + text.size() || value > most) {
        section.source.complain(span_of(*node), fmt::format("\"{}\" is not an address", text), expected);
        return std::nullopt;
    }
    return value;
}

std::optional<std::string> get_choice(const Section& section, std::string_view key,
                                      const std::vector<std::string>& choices) {
    const std::string expected = listed(choices);
    auto text = get_text(section, key, expected);
    if (!text) { return std::nullopt; }
    if (std::find(choices.begin(), choices.end(), *text) != choices.end()) { return text; }
    section.source.complain(span_of_value(section, key), fmt::format("\"{}\" is no {} known here", *text, key),
                            expected, nearest(*text, choices));
    return std::nullopt;
}

std::optional<bool> get_yes(const Section& section, std::string_view key) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return std::nullopt; }
    if (node->is_boolean()) { return node->as_boolean()->get(); }
    complain_type(section, key, *node, "true or false");
    return std::nullopt;
}

const toml::table* get_table(const Section& section, std::string_view key) {
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return nullptr; }
    if (node->is_table()) { return node->as_table(); }
    const Span span = node->is_array() && span_of(*node).place.column == 1 ? span_of(*node) : span_of_key(section, key);
    section.source.complain(span, fmt::format("\"{}\" is {}", key, kind_of(*node)), "a table");
    return nullptr;
}

} // namespace perdure
