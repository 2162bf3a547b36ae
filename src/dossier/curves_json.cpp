#include "dossier/curves_json.hpp"

#include <cmath>

#include <nlohmann/json.hpp>

#include "dossier/curves.hpp"

namespace perdure {
namespace {

template <typename T> nlohmann::json maybe(const std::optional<T>& value) {
    return value ? nlohmann::json(*value) : nlohmann::json(nullptr);
}

nlohmann::json json_of(const WearYears& wear) {
    return {{"area", wear.area},   {"years", wear.years},     {"nominal", wear.nominal},
            {"heavy", wear.heavy}, {"allowed", wear.allowed}, {"guaranteed", wear.guaranteed}};
}

nlohmann::json json_of(const WhatIf& curve) {
    return {{"area", curve.area}, {"input", curve.input},   {"unit", curve.unit},      {"now", curve.now},
            {"at", curve.at},     {"erases", curve.erases}, {"allowed", curve.allowed}};
}

nlohmann::json json_of(const StallRow& row) {
    return {{"area", row.area},
            {"call", row.call},
            {"fresh_ms", row.fresh_ms},
            {"aged_ms", row.aged_ms},
            {"asked_ms", maybe(row.asked_ms)}};
}

nlohmann::json json_of(const RetentionPicture& picture) {
    nlohmann::json out{{"activation_ev", maybe(picture.activation_ev)},
                       {"guarantees", nlohmann::json::array()},
                       {"profile", nlohmann::json::array()}};
    for (const RetentionCurve& curve : picture.guarantees) {
        nlohmann::json carried = nlohmann::json::array();
        for (const KeptAt& point : curve.carried) { carried.push_back({point.temperature_c, point.years}); }
        out["guarantees"].push_back({{"cycles", curve.cycles},
                                     {"temperature_c", curve.temperature_c},
                                     {"years", curve.years},
                                     {"carried", carried}});
    }
    for (const ProfileStep& step : picture.profile) {
        out["profile"].push_back(
            {{"temperature_c", step.temperature_c}, {"share", step.share}, {"line", step.place.line}});
    }
    return out;
}

nlohmann::json json_of(const SupplyDecay& decay) {
    return {{"capacitance_uf", decay.capacitance_uf},
            {"left_uf", decay.left_uf},
            {"capacitance_found", decay.capacitance_found},
            {"step_ms", decay.step_ms},
            {"nominal_v", decay.nominal_v},
            {"left_v", decay.left_v},
            {"trips_at_v", decay.trips_at_v},
            {"end_v", decay.end_v},
            {"detection_ms", decay.detection_ms},
            {"under_way_ms", decay.under_way_ms},
            {"programming_ms", decay.programming_ms}};
}

} // namespace

nlohmann::json what_if_json(const Project& project, const Budget& budget, unsigned points) {
    nlohmann::json out = nlohmann::json::array();
    for (const WhatIf& curve : what_if(project, budget, points)) { out.push_back(json_of(curve)); }
    return out;
}

nlohmann::json curves_json(const Project& project, const Budget& budget, unsigned what_if_points) {
    nlohmann::json out{{"wear_years", nlohmann::json::array()}, {"stalls", nlohmann::json::array()}};
    for (const WearYears& wear : wear_over_years(project, budget)) { out["wear_years"].push_back(json_of(wear)); }
    for (const StallRow& row : stalls_of(project, budget)) { out["stalls"].push_back(json_of(row)); }
    out["deadlines"] = nlohmann::json::array();
    for (const Deadline& deadline : project.conditions.deadlines) {
        out["deadlines"].push_back(
            {{"name", deadline.name}, {"limit_ms", deadline.limit_ms}, {"line", deadline.place.line}});
    }
    out["retention"] = json_of(retention_picture(project));
    const auto decay = supply_decay(project, budget);
    out["supply"] = decay ? json_of(*decay) : nlohmann::json(nullptr);
    out["what_if"] = what_if_points > 0 ? what_if_json(project, budget, what_if_points) : nlohmann::json(nullptr);
    return out;
}

} // namespace perdure
