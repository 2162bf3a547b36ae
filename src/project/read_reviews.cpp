// [[deadline]], [energy], [qualification], [wear_out], [uncertainty], [errors]: what a review asks beyond wear and
// stalls.
#include <algorithm>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {

const std::vector<std::string> condition_requirement_keys{"wrong_entries", "failed_share", "battery_share",
                                                          "service_every"};

namespace {

constexpr Bounds milliamps{0, 1e5, false, false, "from 0 to 100 A"};
constexpr Bounds confidence{0, 1, true, true, "above 0 and below 1, such as 0.9"};

void read_calls(const Section& section, Deadline& out) {
    const toml::node* node = section.table.get("calls");
    if (node == nullptr) { return; }
    const std::string expected = "calls = [ \"put\", \"service\" ], of put, service and open";
    out.put = out.service = out.open = false;
    bool good = node->is_array() && !node->as_array()->empty();
    if (good) {
        for (const toml::node& element : *node->as_array()) {
            const std::string word = element.is_string() ? element.as_string()->get() : "";
            out.put = out.put || word == "put";
            out.service = out.service || word == "service";
            out.open = out.open || word == "open";
            good = good && (word == "put" || word == "service" || word == "open");
        }
    }
    if (!good) { section.source.complain(span_of_value(section, "calls"), "\"calls\" is no list of calls", expected); }
}

void read_deadlines(const Section& root, Conditions& out) {
    for (const Section& row :
         tables_of(root, "deadline", "[[deadline]]", "[[deadline]] with name = \"watchdog\" and limit = \"100 ms\"")) {
        check_keys(row, {"name", "limit", "calls", "counts", "code"});
        Deadline& deadline = out.deadlines.emplace_back();
        deadline.place = row.span.place;
        if (!row.table.contains("name")) { complain_missing(row, "name", "name = \"watchdog\""); }
        if (!row.table.contains("limit")) { complain_missing(row, "limit", "limit = \"100 ms\""); }
        deadline.name = get_text(row, "name", "a name").value_or("");
        deadline.limit_ms =
            1e3 * get_quantity(row, "limit", Dimension::time_s, {0, 86400, true, false, "above 0 and at most 1 d"})
                      .value_or(0);
        deadline.limit_place = span_of_value(row, "limit").place;
        deadline.code_place = place_if_given(row, "code");
        read_calls(row, deadline);
        if (get_choice(row, "counts", {"call", "operation"}) == "operation") {
            deadline.counts = DeadlineCounts::operation;
        }
        const auto code = get_choice(row, "code", {"flash", "other-bank", "ram"});
        deadline.code = code == "ram" ? CodeIn::ram : code == "other-bank" ? CodeIn::other_bank : CodeIn::flash;
        if (row.table.contains("code") && deadline.counts == DeadlineCounts::call) {
            row.source.complain(span_of_key(row, "code"),
                                "\"code\" matters only where flash operations hold the processor up",
                                "counts = \"operation\" beside it, or no \"code\"");
        }
    }
}

void read_energy(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "energy");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[energy]", span_of_key(root, "energy")};
    EnergyTerms& energy = out.energy.emplace();
    energy.place = section.span.place;
    check_keys(section, {"voltage", "run_current", "battery", "supply_min", "peak_max"});
    if (!table->contains("voltage")) { complain_missing(section, "voltage", "voltage = \"3 V\""); }
    const Bounds volts{0, 20, true, false, "above 0 and at most 20 V"};
    energy.voltage_v = get_quantity(section, "voltage", Dimension::voltage_v, volts).value_or(0);
    energy.run_ma = get_quantity(section, "run_current", Dimension::current_ma, milliamps).value_or(0);
    energy.battery_mah =
        get_quantity(section, "battery", Dimension::charge_mah, {0, 1e9, true, false, "above 0 and at most 1e6 Ah"});
    energy.supply_min_v = get_quantity(section, "supply_min", Dimension::voltage_v, volts);
    energy.peak_max_ma = get_quantity(section, "peak_max", Dimension::current_ma, milliamps);
    energy.voltage_place = place_if_given(section, "voltage");
    energy.run_place = place_if_given(section, "run_current");
    energy.battery_place = place_if_given(section, "battery");
    energy.supply_min_place = place_if_given(section, "supply_min");
    energy.peak_place = place_if_given(section, "peak_max");
}

void read_qualification(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "qualification");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[qualification]", span_of_key(root, "qualification")};
    Qualification& sample = out.qualification.emplace();
    sample.place = section.span.place;
    check_keys(section, {"units", "failures", "confidence", "hours", "at", "activation_energy"});
    if (!table->contains("units")) { complain_missing(section, "units", "units = 231"); }
    sample.units = get_whole(section, "units", 1, 1'000'000'000).value_or(1);
    sample.failures = get_whole(section, "failures", 0, 1'000'000'000).value_or(0);
    sample.confidence = get_number(section, "confidence", confidence).value_or(sample.confidence);
    sample.hours = get_number(section, "hours", {0, 1e9, true, false, "above 0 and at most 1e9"});
    sample.at_c =
        get_quantity(section, "at", Dimension::temperature_c, {-60, 300, false, false, "from -60 C to 300 C"});
    sample.activation_ev = get_quantity(section, "activation_energy", Dimension::energy_ev,
                                        {0, 3, true, false, "above 0 and at most 3 eV"});
    sample.activation_place = place_if_given(section, "activation_energy");
    if (sample.failures > sample.units) {
        section.source.complain(span_of_value(section, "failures"),
                                fmt::format("{} of {} units cannot fail", sample.failures, sample.units),
                                fmt::format("at most {}", sample.units));
    }
    const bool carried = table->contains("at") || table->contains("activation_energy");
    for (const auto& [key, example] : {std::pair{"hours", "hours = 1000"}, std::pair{"at", "at = \"125 C\""},
                                       std::pair{"activation_energy", "activation_energy = \"0.7 eV\""}}) {
        if (carried && !table->contains(key)) {
            complain_missing(section, key, example,
                             "a life test is carried to the product's temperatures by all three");
        }
    }
}

void read_wear_out(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "wear_out");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[wear_out]", span_of_key(root, "wear_out")};
    WearOut& wear = out.wear_out.emplace();
    wear.place = section.span.place;
    check_keys(section, {"law", "shape", "scale"});
    for (const auto& [key, example] : {std::pair{"law", "law = \"weibull\""}, std::pair{"shape", "shape = 3"},
                                       std::pair{"scale", "scale = 80000"}}) {
        if (!table->contains(key)) { complain_missing(section, key, example); }
    }
    const auto law = get_choice(section, "law", {"weibull", "lognormal"});
    wear.model.law = law == "lognormal" ? LifeLaw::lognormal : LifeLaw::weibull;
    wear.model.shape = get_number(section, "shape", {0, 1000, true, false, "above 0 and at most 1000"}).value_or(1);
    wear.model.scale =
        get_number(section, "scale", {0, 1e15, true, false, "above 0 and at most 1e15 erases"}).value_or(1);
}

Spread read_spread(const Section& row) {
    Spread out;
    if (!row.table.contains("law")) { complain_missing(row, "law", "law = \"lognormal\""); }
    if (!row.table.contains("high")) { complain_missing(row, "high", "high = 1.8"); }
    const Bounds factor{0, 1000, true, false, "a factor above 0 and at most 1000"};
    const auto law = get_choice(row, "law", {"uniform", "triangular", "lognormal"});
    out.law = law == "lognormal"    ? SpreadLaw::lognormal
              : law == "triangular" ? SpreadLaw::triangular
                                    : SpreadLaw::uniform;
    out.low = get_number(row, "low", factor).value_or(1);
    out.likely = get_number(row, "likely", factor).value_or(1);
    out.high = get_number(row, "high", factor).value_or(1);
    for (const char* key : {"low", "likely"}) {
        const bool taken = law != "lognormal" && (law == "triangular" || std::string_view(key) == "low");
        if (law && !taken && row.table.contains(key)) {
            row.source.complain(span_of_key(row, key), fmt::format("\"{}\" is not for \"{}\"", key, *law),
                                "lognormal: high, what 95 of 100 stay below; uniform: low and high; triangular: low, "
                                "likely and high");
        }
    }
    if (out.law == SpreadLaw::lognormal) {
        if (out.high < 1) {
            row.source.complain(span_of_value(row, "high"), "\"high\" is below 1, the median",
                                "what 95 of 100 stay below, as a factor of the median");
        }
        return out;
    }
    const bool ordered =
        out.law == SpreadLaw::uniform ? out.low <= out.high : out.low <= out.likely && out.likely <= out.high;
    if (!ordered) {
        row.source.complain(span_of_value(row, "high"), "low, likely and high are not in order", "low at most high");
    }
    return out;
}

void read_uncertainty(const Section& root, Project& project) {
    const toml::table* table = get_table(root, "uncertainty");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[uncertainty]", span_of_key(root, "uncertainty")};
    Uncertainty& out = project.conditions.uncertainty.emplace();
    out.place = section.span.place;
    check_keys(section, {"share", "trials", "seed", "input"});
    out.share = get_number(section, "share", confidence).value_or(out.share);
    out.share_place = place_if_given(section, "share");
    out.trials = get_whole(section, "trials", 100, 1'000'000).value_or(out.trials);
    out.seed = get_whole(section, "seed", 0, INT64_MAX).value_or(out.seed);
    constexpr std::string_view example =
        "[[uncertainty.input]] with what = \"saves\", law = \"lognormal\" and high = 1.8";
    if (!table->contains("input")) { complain_missing(section, "input", example); }
    std::vector<std::string> records;
    for (const Record& record : project.records) { records.push_back(record.name); }
    for (const Section& row : tables_of(section, "input", "[[uncertainty.input]]", example)) {
        check_keys(row, {"what", "record", "law", "low", "likely", "high"});
        UncertainInput& input = out.inputs.emplace_back();
        input.place = row.span.place;
        if (!row.table.contains("what")) { complain_missing(row, "what", "what = \"saves\""); }
        const auto what = get_choice(row, "what", {"saves", "starts", "endurance"});
        input.what = what == "starts"      ? UncertainWhat::starts
                     : what == "endurance" ? UncertainWhat::endurance
                                           : UncertainWhat::saves;
        if (const auto record = get_choice(row, "record", records)) { input.record = *record; }
        if (row.table.contains("record") && what && *what != "saves") {
            row.source.complain(span_of_key(row, "record"), fmt::format("\"record\" is not for \"{}\"", *what),
                                "what = \"saves\" beside it");
        }
        input.spread = read_spread(row);
    }
}

void read_errors(const Section& root, Conditions& out) {
    const toml::table* table = get_table(root, "errors");
    if (table == nullptr) { return; }
    const Section section{root.source, *table, "[errors]", span_of_key(root, "errors")};
    out.errors.place = section.span.place;
    check_keys(section, {"bit_flip"});
    if (!table->contains("bit_flip")) { complain_missing(section, "bit_flip", "bit_flip = 1e-9"); }
    out.errors.bit_flip = get_number(section, "bit_flip", {0, 0.5, false, false, "from 0 to 0.5"}).value_or(0);
    out.errors.bit_flip_place = place_if_given(section, "bit_flip");
}

} // namespace

void read_condition_requirements(const Section& require, ConditionRequirements& out) {
    const Bounds share{0, 1, true, false, "a share above 0 and at most 1"};
    out.wrong_entries_max = get_number(require, "wrong_entries", {0, 1e9, true, false, "above 0 and at most 1e9"});
    out.failed_share_max = get_number(require, "failed_share", share);
    out.battery_share_max = get_number(require, "battery_share", share);
    out.service_every_s = get_quantity(require, "service_every", Dimension::time_s,
                                       {0, 3.2e9, true, false, "above 0 s and at most 100 years"});
    out.wrong_entries_place = place_if_given(require, "wrong_entries");
    out.failed_share_place = place_if_given(require, "failed_share");
    out.battery_share_place = place_if_given(require, "battery_share");
    out.service_every_place = place_if_given(require, "service_every");
}

void read_reviews(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    Conditions& out = project.conditions;
    read_deadlines(root, out);
    read_energy(root, out);
    read_qualification(root, out);
    read_wear_out(root, out);
    read_uncertainty(root, project);
    read_errors(root, out);
}

} // namespace perdure
