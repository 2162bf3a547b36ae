// [[profile]], [endurance], [retention], [[aged]]: temperatures, and the guarantees that depend on them or on wear.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {

namespace {

constexpr Bounds temperature{-60, 300, false, false, "from -60 C to 300 C"};
constexpr Bounds some_years{0, 1000, false, false, "from 0 y to 1000 y"};
constexpr Bounds some_erases{0, 1e15, true, false, "above 0 and at most 1e15 erases"};

/// A number that has to be there.
template <typename Get> double needed(const Section& section, std::string_view key, std::string_view example, Get get) {
    if (!section.table.contains(key)) { complain_missing(section, key, example); }
    return get().value_or(0);
}

double needed_temperature(const Section& section, std::string_view key, std::string_view example) {
    return needed(section, key, example,
                  [&] { return get_quantity(section, key, Dimension::temperature_c, temperature); });
}

double needed_erases(const Section& section, std::string_view example) {
    return needed(section, "erases", example, [&] { return get_number(section, "erases", some_erases); });
}

void read_profile(const Section& root, Conditions& out) {
    constexpr std::string_view example = "[[profile]] with temperature = \"25 C\" and share = 0.7";
    double sum = 0;
    const std::vector<Section> steps = tables_of(root, "profile", "[[profile]]", example);
    for (const Section& section : steps) {
        check_keys(section, {"temperature", "share"});
        ProfileStep& step = out.profile.emplace_back();
        step.place = section.span.place;
        step.temperature_c = needed_temperature(section, "temperature", "temperature = \"25 C\"");
        step.share = needed(section, "share", "share = 0.7", [&] {
            return get_number(section, "share", {0, 1, false, false, "a share from 0 to 1"});
        });
        sum += step.share;
    }
    if (!steps.empty() && root.source.found.empty() && std::abs(sum - 1) > 1e-6) {
        root.source.complain(steps.front().span, fmt::format("the shares of all [[profile]] make {:g}", sum),
                             "shares that make 1 together: all time is spent at some temperature");
    }
}

void read_endurance(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "endurance");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[endurance]", span_of_key(root, "endurance")};
    check_keys(section, {"spent", "pair"});
    out.erases_spent =
        get_number(section, "spent", {0, 1e15, false, false, "from 0 to 1e15 erases"}).value_or(out.erases_spent);
    out.spent_place = place_if_given(section, "spent");
    for (const Section& row : tables_of(section, "pair", "[[endurance.pair]]",
                                        "[[endurance.pair]] with erases = 200 and up_to = \"125 C\"")) {
        check_keys(row, {"erases", "up_to", "from", "size"});
        EndurancePair& pair = out.endurance.emplace_back();
        pair.place = row.span.place;
        pair.erases = needed_erases(row, "erases = 200");
        pair.up_to_c = get_quantity(row, "up_to", Dimension::temperature_c, temperature);
        pair.from_bytes = get_size(row, "from", 0, 1ULL << 32U);
        pair.size_bytes = get_size(row, "size", 1, 1ULL << 32U);
        if (row.table.contains("from") != row.table.contains("size")) {
            complain_missing(row, row.table.contains("from") ? "size" : "from",
                             row.table.contains("from") ? "size = \"32 KiB\"" : "from = \"0 B\"",
                             "the stretch of flash is given by both");
        }
    }
}

void read_retention_pairs(const Section& section, RetentionTerms& out) {
    for (const Section& row : tables_of(section, "pair", "[[retention.pair]]",
                                        "[[retention.pair]] with erases = 10000, at = \"85 C\" and lasts = \"15 y\"")) {
        check_keys(row, {"erases", "at", "lasts"});
        RetentionPair& pair = out.pairs.emplace_back();
        pair.place = row.span.place;
        pair.guarantee.cycles = needed_erases(row, "erases = 10000");
        pair.guarantee.temperature_c = needed_temperature(row, "at", "at = \"85 C\"");
        pair.guarantee.years = needed(row, "lasts", "lasts = \"15 y\"", [&] {
            return get_quantity(row, "lasts", Dimension::life_y,
                                {0, 1000, true, false, "above 0 y and at most 1000 y"});
        });
    }
}

void read_retention(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "retention");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[retention]", span_of_key(root, "retention")};
    RetentionTerms& terms = out.retention.emplace();
    terms.place = section.span.place;
    check_keys(section, {"activation_energy", "storage", "storage_at", "reflow", "reflow_at", "light_user", "pair"});
    terms.activation_ev = get_quantity(section, "activation_energy", Dimension::energy_ev,
                                       {0, 3, true, false, "above 0 and at most 3 eV"});
    terms.storage_years = get_quantity(section, "storage", Dimension::life_y, some_years).value_or(terms.storage_years);
    terms.storage_c =
        get_quantity(section, "storage_at", Dimension::temperature_c, temperature).value_or(terms.storage_c);
    terms.reflow_s = get_quantity(section, "reflow", Dimension::time_s, {0, 3600, false, false, "from 0 to 1 h"})
                         .value_or(terms.reflow_s);
    terms.reflow_c =
        get_quantity(section, "reflow_at", Dimension::temperature_c, {100, 400, false, false, "from 100 C to 400 C"})
            .value_or(terms.reflow_c);
    terms.light_user =
        get_number(section, "light_user", {0, 1, false, false, "a share from 0 to 1"}).value_or(terms.light_user);
    terms.activation_place = place_if_given(section, "activation_energy");
    terms.storage_place = place_if_given(section, "storage");
    terms.reflow_place = place_if_given(section, "reflow");
    terms.light_place = place_if_given(section, "light_user");
    if (terms.storage_years > 0 && !table->contains("storage_at")) {
        complain_missing(section, "storage_at", "storage_at = \"30 C\"", "the temperature of that storage");
    }
    if (terms.reflow_s > 0 && !table->contains("activation_energy")) {
        section.source.complain(span_of_value(section, "reflow"),
                                "\"reflow\" is hotter than any guarantee, so it counts only with an activation energy",
                                "activation_energy = \"...\" of the part's maker beside it");
    }
    read_retention_pairs(section, terms);
}

void read_aged(const Section& root, Conditions& out) {
    const Bounds time{0, 100, true, false, "above 0 and at most 100 s"};
    for (const Section& row :
         tables_of(root, "aged", "[[aged]]", "[[aged]] with erases = 2000 and erase_max = \"20 ms\"")) {
        check_keys(row, {"erases", "erase_max", "program_max"});
        AgedTimes& times = out.aged.emplace_back();
        times.place = row.span.place;
        times.erases = needed_erases(row, "erases = 2000");
        const auto erase_s = get_quantity(row, "erase_max", Dimension::time_s, time);
        const auto program_s = get_quantity(row, "program_max", Dimension::time_s, time);
        if (erase_s) { times.erase_ms_max = *erase_s * 1e3; }
        if (program_s) { times.program_us_max = *program_s * 1e6; }
        if (!row.table.contains("erase_max") && !row.table.contains("program_max")) {
            complain_missing(row, "erase_max", "erase_max = \"20 ms\"", "or program_max");
        }
    }
    std::stable_sort(out.aged.begin(), out.aged.end(),
                     [](const AgedTimes& a, const AgedTimes& b) { return a.erases < b.erases; });
}

} // namespace

std::vector<Section> tables_of(const Section& section, std::string_view key, const std::string& prefix,
                               std::string_view example) {
    std::vector<Section> out;
    const toml::node* node = section.table.get(key);
    if (node == nullptr) { return out; }
    if (!node->is_array() || node->as_array()->empty()) {
        section.source.complain(span_of_key(section, key), fmt::format("\"{}\" is no list of tables", key),
                                std::string(example));
        return out;
    }
    for (const toml::node& element : *node->as_array()) {
        if (!element.is_table()) {
            section.source.complain(span_of(element), fmt::format("\"{}\" holds something that is no table", key),
                                    std::string(example));
            continue;
        }
        out.push_back(Section{section.source, *element.as_table(), fmt::format("{} {}", prefix, out.size() + 1),
                              span_of(element)});
    }
    return out;
}

Place place_if_given(const Section& section, std::string_view key) {
    return section.table.contains(key) ? span_of_value(section, key).place : Place{};
}

void read_temperatures(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    read_profile(root, project.conditions);
    read_endurance(root, project.conditions);
    read_retention(root, project.conditions);
    read_aged(root, project.conditions);
}

} // namespace perdure
