#include <algorithm>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr std::string_view reasons_expected =
    "one of every = \"45 s\", events = \"4/day\", moved_by = 100, at_start = true or at_power_fail = true in each save";

void complain_beside(const Section& save, std::string_view key, std::string_view message, std::string_view expected) {
    if (save.table.contains(key)) {
        save.source.complain(span_of_key(save, key), std::string(message), std::string(expected));
    }
}

/// True when the key is there; it can only be true.
bool has_only_true(const Section& save, std::string_view key) {
    const toml::node* node = save.table.get(key);
    if (node == nullptr) { return false; }
    if (!node->is_boolean() || !node->as_boolean()->get()) {
        save.source.complain(span_of(*node), fmt::format("\"{}\" can only be true", key),
                             fmt::format("{} = true, or no such line", key));
    }
    return true;
}

/// The field that a save by movement watches: the one named, or the only one.
std::optional<size_t> watched_field(const Section& save, const Record& record) {
    std::vector<std::string> names;
    for (const Field& field : record.fields) { names.push_back(field.name); }
    const auto name = get_text(save, "field", "the name of a field");
    if (!save.table.contains("field")) {
        if (names.size() == 1) { return 0; }
        if (!names.empty()) {
            complain_missing(save, "field", fmt::format("field = \"{}\"", names.front()),
                             "the record has several fields");
        }
        return std::nullopt;
    }
    if (!name) { return std::nullopt; }
    const auto found = std::find(names.begin(), names.end(), *name);
    if (found != names.end()) { return static_cast<size_t>(found - names.begin()); }
    save.source.complain(span_of_value(save, "field"), fmt::format("the record has no field \"{}\"", *name),
                         listed(names), nearest(*name, names));
    return std::nullopt;
}

void read_moved(const Section& save, const Record& record, SavePolicy& policy) {
    policy.moved_by = get_number(save, "moved_by", {0, 1e18, true, false, "above 0 and at most 1e18"}).value_or(0);
    const auto place = watched_field(save, record);
    if (!place) { return; }
    policy.field = *place;
    const Field& field = record.fields[*place];
    if (!field.rate_per_day) {
        save.source.complain(
            span_of_key(save, "moved_by"),
            fmt::format("how often field \"{}\" moves by so much is not known: it has no \"rate\"", field.name),
            fmt::format("a rate such as rate = \"500/day\" in field \"{}\"", field.name));
    }
    if (record.kind == RecordKind::total && field.movement_max > 0 &&
        policy.moved_by > static_cast<double>(field.movement_max)) {
        save.source.complain(span_of_value(save, "moved_by"),
                             fmt::format("field \"{}\" grows by {} at most between two saves, so never by {:g}",
                                         field.name, field.movement_max, policy.moved_by),
                             fmt::format("\"moved_by\" of at most {}, or a larger \"movement\"", field.movement_max));
    }
}

/// `settled` and `latest` beside events, which then count single changes.
void read_settled(const Section& save, SavePolicy& policy) {
    const Bounds time{0, 86400, true, false, "above 0 and at most 1 d"};
    const auto settle = get_quantity(save, "settled", Dimension::time_s, time);
    policy.latest_s = get_quantity(save, "latest", Dimension::time_s, time);
    if (!save.table.contains("settled")) {
        complain_beside(save, "latest", "\"latest\" goes with \"settled\"", "settled = \"10 s\" beside it");
        return;
    }
    if (policy.when != SaveWhen::events) {
        save.source.complain(span_of_key(save, "settled"), "how often it changes is not said",
                             "events = \"20/day\" beside \"settled\", counting single changes");
    }
    policy.when = SaveWhen::settled;
    policy.settle_s = settle.value_or(0);
    if (settle && policy.latest_s && *policy.latest_s < *settle) {
        save.source.complain(span_of_value(save, "latest"), "\"latest\" is shorter than \"settled\"",
                             fmt::format("\"{}\" or longer", show_seconds(*settle)));
    }
}

SavePolicy read_save(const Section& save, const Record& record, double year_days) {
    SavePolicy policy;
    policy.place = save.span.place;
    check_keys(save, {"every", "events", "events_per_day", "at_start", "at_power_fail", "moved_by", "field", "settled",
                      "latest", "changed", "confidence"});
    size_t reasons = 0;
    bool misspelled = false;
    for (const char* key : {"every", "events", "events_per_day", "moved_by", "at_start", "at_power_fail"}) {
        reasons += save.table.contains(key) ? 1 : 0;
        misspelled = misspelled || has_misspelled(save, key);
    }
    if (reasons > 1 || (reasons == 0 && !misspelled && !save.table.contains("settled"))) {
        save.source.complain(
            save.span, fmt::format("{} gives {} to save", save.title, reasons == 0 ? "no reason" : "several reasons"),
            std::string(reasons_expected));
    }
    if (const auto every = get_quantity(save, "every", Dimension::time_s,
                                        {0, 3.2e9, true, false, "above 0 s and at most 100 years"})) {
        policy.every_s = *every;
    }
    const Bounds often{0, 86400.0 * 1000, true, false, "above 0 and at most 1000 a second"};
    auto events = get_rate_per_day(save, "events", year_days, often);
    if (!events) { events = get_number(save, "events_per_day", often); }
    if (save.table.contains("events") || save.table.contains("events_per_day")) { policy.when = SaveWhen::events; }
    policy.events_per_day = events.value_or(0);
    if (has_only_true(save, "at_start")) { policy.when = SaveWhen::at_start; }
    if (has_only_true(save, "at_power_fail")) { policy.when = SaveWhen::at_power_fail; }
    if (save.table.contains("moved_by")) {
        policy.when = SaveWhen::moved;
        read_moved(save, record, policy);
    } else {
        complain_beside(save, "field", "\"field\" goes with \"moved_by\"", "moved_by = 100 beside it");
    }
    read_settled(save, policy);
    policy.changed_share = get_number(save, "changed", {0, 1, false, false, "a share from 0 to 1"}).value_or(1.0);
    if (policy.when == SaveWhen::moved || policy.when == SaveWhen::settled) {
        complain_beside(save, "changed", "this save comes by a change, so all of them count", "no \"changed\" here");
    }
    policy.confidence = get_number(save, "confidence", {0, 1, true, true, "above 0 and below 1, such as 0.95"});
    if (save.table.contains("confidence") && policy.when != SaveWhen::events) {
        save.source.complain(span_of_key(save, "confidence"),
                             "\"confidence\" is for events: the other saves are certain",
                             "events = \"4/day\" beside it");
    }
    return policy;
}

} // namespace

std::vector<SavePolicy> read_saves(const Section& section, const Record& record, double year_days) {
    constexpr std::string_view expected = "saves = [ { every = \"45 s\" } ]";
    const toml::node* node = section.table.get("saves");
    std::vector<SavePolicy> saves;
    if (node == nullptr) {
        complain_missing(section, "saves", expected, "how often it is saved decides everything");
        return saves;
    }
    if (!node->is_array() || node->as_array()->empty()) {
        section.source.complain(span_of_key(section, "saves"), fmt::format("{} has no saves", section.title),
                                std::string(expected));
        return saves;
    }
    for (const toml::node& element : *node->as_array()) {
        if (!element.is_table()) {
            section.source.complain(span_of(element), "a save is a table", std::string(expected));
            continue;
        }
        const Section save{section.source, *element.as_table(),
                           fmt::format("save {} of {}", saves.size() + 1, section.title), span_of(element)};
        saves.push_back(read_save(save, record, year_days));
    }
    return saves;
}

} // namespace perdure
