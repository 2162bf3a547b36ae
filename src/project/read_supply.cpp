#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr Bounds volts{0, 1000, true, false, "above 0 and at most 1000 V"};
constexpr Bounds missing_share{0, 1, false, true, "a share from 0 to below 1"};

void read_load(const Section& section, Supply& supply) {
    const bool current = section.table.contains("load"), power = section.table.contains("load_power");
    if (current && power) {
        section.source.complain(span_of_key(section, "load_power"), "\"load\" and \"load_power\" are both given",
                                "one of them: the current behind a linear regulator, the power behind a switching one");
    } else if (!current && !power) {
        complain_missing(section, "load", "load = \"12 mA\"", "a constant current; or load_power, a constant power");
    }
    supply.load_ma =
        get_quantity(section, "load", Dimension::current_ma, {0, 1e6, true, false, "above 0 and at most 1000 A"})
            .value_or(0);
    supply.load_mw =
        get_quantity(section, "load_power", Dimension::power_mw, {0, 1e9, true, false, "above 0 and at most 1 MW"})
            .value_or(0);
    supply.load_place = span_of_value(section, current ? "load" : "load_power").place;
}

void read_voltages(const Section& section, Supply& supply) {
    if (!section.table.contains("trips_at")) {
        complain_missing(section, "trips_at", "trips_at = \"2.9 V\"", "the lowest voltage at which the detector trips");
    }
    if (!section.table.contains("cpu_min")) {
        complain_missing(section, "cpu_min", "cpu_min = \"2.0 V\"", "the lowest voltage at which the processor works");
    }
    const auto trips = get_quantity(section, "trips_at", Dimension::voltage_v, volts);
    const auto cpu = get_quantity(section, "cpu_min", Dimension::voltage_v, volts);
    const auto charged = get_quantity(section, "charged_to", Dimension::voltage_v, volts);
    supply.dropout_v =
        get_quantity(section, "dropout", Dimension::voltage_v, {0, 100, false, false, "from 0 to 100 V"}).value_or(0);
    supply.trips_at_v = trips.value_or(0);
    supply.cpu_min_v = cpu.value_or(0);
    supply.charged_to_v = charged.value_or(supply.trips_at_v);
    supply.trips_place = span_of_value(section, "trips_at").place;
    supply.cpu_place = span_of_value(section, "cpu_min").place;
    supply.dropout_place = span_of_value(section, "dropout").place;
    if (!trips) { return; }
    if (charged && *charged < *trips) {
        section.source.complain(span_of_value(section, "charged_to"),
                                "the capacitor is charged to less than the voltage at which the detector trips",
                                fmt::format("\"{:g} V\" or more", *trips));
    }
    // What the flash needs is held against it by the budget: the part may be exchanged.
    if (cpu && *trips <= *cpu + supply.dropout_v) {
        section.source.complain(
            span_of_value(section, "trips_at"),
            fmt::format("the detector trips at {:g} V, but the processor needs {:g} V and the regulator {:g} V more",
                        *trips, *cpu, supply.dropout_v),
            fmt::format("more than \"{:g} V\"", *cpu + supply.dropout_v));
    }
}

void read_capacitor(const Section& section, Supply& supply) {
    const toml::node* node = section.table.get("capacitance");
    const bool found_by_us = node == nullptr || (node->is_string() && node->as_string()->get() == "find it");
    if (!found_by_us) {
        supply.capacitance_uf = get_quantity(section, "capacitance", Dimension::capacitance_uf,
                                             {0, 1e9, true, false, "above 0 and at most 1000 F"});
    }
    supply.tolerance = get_number(section, "tolerance", missing_share).value_or(supply.tolerance);
    supply.cold = get_number(section, "cold", missing_share).value_or(supply.cold);
    supply.ageing = get_number(section, "ageing", missing_share).value_or(supply.ageing);
    supply.aged_program =
        get_number(section, "aged_program", {1, 100, false, false, "from 1 to 100"}).value_or(supply.aged_program);
    supply.capacitance_place = span_of_value(section, "capacitance").place;
    const auto given = [&](const char* key) { // a default has no place in the file
        return section.table.contains(key) ? span_of_value(section, key).place : Place{};
    };
    supply.tolerance_place = given("tolerance");
    supply.cold_place = given("cold");
    supply.ageing_place = given("ageing");
    supply.aged_place = given("aged_program");
    supply.dropout_place = given("dropout");
}

void read_dips(const Section& section, double year_days, Supply& supply) {
    const Bounds often{0, 86400, false, false, "from 0 to 86400 a day"};
    supply.dips_per_day = get_rate_per_day(section, "dips", year_days, often).value_or(0);
    supply.storms_per_day = get_rate_per_day(section, "storms", year_days, often).value_or(0);
    supply.dips_a_storm = get_number(section, "storm_dips", {1, 1e6, false, false, "from 1 to 1000000"}).value_or(0);
    supply.storm_gap_s =
        get_quantity(section, "storm_gap", Dimension::time_s, {0, 86400, true, false, "above 0 and at most 1 d"});
    supply.dips_place = section.table.contains("dips") ? span_of_value(section, "dips").place : Place{};
    supply.storms_place = section.table.contains("storms") ? span_of_value(section, "storms").place : Place{};
    supply.gap_place = span_of_value(section, "storm_gap").place;
    if (section.table.contains("storms") && !section.table.contains("storm_dips")) {
        complain_missing(section, "storm_dips", "storm_dips = 50", "how often the supply dips in a storm");
    }
    for (const char* key : {"storm_dips", "storm_gap"}) {
        if (!section.table.contains(key) || section.table.contains("storms")) { continue; }
        section.source.complain(span_of_key(section, key), fmt::format("\"{}\" goes with \"storms\"", key),
                                "storms = \"3/year\" beside it");
    }
}

} // namespace

void read_supply(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    const toml::table* table = get_table(root, "supply");
    if (table == nullptr) { return; }
    const Section section{source, *table, "[supply]", span_of_key(root, "supply")};
    Supply& supply = project.supply.emplace();
    supply.place = section.span.place;
    check_keys(section,
               {"load", "load_power", "trips_at", "charged_to", "cpu_min", "dropout", "detection", "capacitance",
                "tolerance", "cold", "ageing", "aged_program", "dips", "storms", "storm_dips", "storm_gap"});
    read_load(section, supply);
    read_voltages(section, supply);
    if (!table->contains("detection")) {
        complain_missing(section, "detection", "detection = \"50 us\"",
                         "from the trip until the save begins: the detector's delay and the interrupt's");
    }
    supply.detection_s =
        get_quantity(section, "detection", Dimension::time_s, {0, 10, false, false, "from 0 to 10 s"}).value_or(0);
    supply.detection_place = span_of_value(section, "detection").place;
    read_capacitor(section, supply);
    read_dips(section, project.product.year_days, supply);
}

} // namespace perdure
