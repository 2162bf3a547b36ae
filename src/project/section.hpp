// One table of the project file under reading: typed access to its keys, each refusal noted with its place.
// Only src/project includes this; the rest of the program sees read.hpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <toml++/toml.h>

#include "project/diagnostic.hpp"
#include "project/units.hpp"

namespace perdure {

/// The file under reading and what was found wrong so far.
struct Source {
    std::string path;
    std::vector<std::string_view> lines;
    std::vector<Diagnostic> found;

    /// The text of a line counted from 1; empty outside the file.
    [[nodiscard]] std::string line(uint32_t number) const;
    /// Adds an error and gives it back so that the caller may add to it. Valid until the next call.
    Diagnostic& complain(const Span& span, std::string message, std::string expected = {},
                         std::string nearest_known = {});
    /// Adds a second place to an error.
    void see_also(Diagnostic& diagnostic, const Span& span, std::string text) const;
};

/// A table with the name that messages use for it and the place to point at when something is missing.
struct Section {
    Source& source;
    const toml::table& table;
    std::string title; ///< "[part]", "[record.energy]", "field 2 of [record.energy]"
    Span span;
};

/// What a number must obey. Bounds belong to the range unless said otherwise.
struct Bounds {
    double least = 0;
    double most = 0;
    bool above_least = false; ///< `least` itself is refused
    bool below_most = false;  ///< `most` itself is refused
    std::string_view said;    ///< the range in words, for messages: "above 0", "from 0 to 1"
};

Span span_of(const toml::node& node);
Span span_of(const toml::key& key);

/// The span of the key in this table; the table's own span when it is absent.
Span span_of_key(const Section& section, std::string_view key);

/// The span of the value of the key in this table; the table's own span when it is absent.
Span span_of_value(const Section& section, std::string_view key);

/// The place of the value of the key in this table; line 0, as of a default, when it is absent.
Place place_if_said(const Section& section, std::string_view key);

/// Refuses every key that is not listed.
void check_keys(const Section& section, const std::vector<std::string>& known);

/// True when the table has a key that is probably this one, misspelled: check_keys says so, and "missing" would
/// mislead.
bool has_misspelled(const Section& section, std::string_view key);

/// Says that a key is missing, unless it is there misspelled; `example` is a whole line to add.
void complain_missing(const Section& section, std::string_view key, std::string_view example,
                      std::string_view why = {});

// Each of these gives nothing when the key is absent, and nothing after an error when its value is not as asked.

std::optional<std::string> get_text(const Section& section, std::string_view key, std::string_view expected);
std::optional<double> get_number(const Section& section, std::string_view key, const Bounds& bounds);
std::optional<uint64_t> get_whole(const Section& section, std::string_view key, uint64_t least, uint64_t most);
/// A text with unit; the bounds are in the dimension's own unit.
std::optional<double> get_quantity(const Section& section, std::string_view key, Dimension dimension,
                                   const Bounds& bounds);
/// As get_quantity for sizes, which must be whole bytes.
std::optional<uint64_t> get_size(const Section& section, std::string_view key, uint64_t least, uint64_t most);
/// A text such as "4/day"; the bounds are in times a day, `year_days` is the length of the year.
std::optional<double> get_rate_per_day(const Section& section, std::string_view key, double year_days,
                                       const Bounds& bounds);
/// An address: a whole number, best written "0x0801F000" or 0x0801F000.
std::optional<uint64_t> get_address(const Section& section, std::string_view key);
/// One of a list of words.
std::optional<std::string> get_choice(const Section& section, std::string_view key,
                                      const std::vector<std::string>& choices);
/// True or false.
std::optional<bool> get_yes(const Section& section, std::string_view key);
/// A table by that key; says so when it is something else.
const toml::table* get_table(const Section& section, std::string_view key);

/// "a, b or c".
std::string listed(const std::vector<std::string>& words);

/// Notes an error when the value is outside the bounds; true when it is inside.
bool check_bounds(const Section& section, std::string_view key, double value, const Bounds& bounds);

} // namespace perdure
