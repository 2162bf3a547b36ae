// perdure upgrade: what one version's firmware makes of another one's data, tried on the store.
#include <ostream>

#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "cli/upgrade_report.hpp"
#include "cli/versions.hpp"
#include "upgrade/releases.hpp"

namespace perdure {
namespace {

struct UpgradeInput {
    bool all = false, rules_only = false;
    uint64_t from_store = 0, to_store = 0;
    TrialOptions options;
    std::string wrong; ///< not empty: what cannot be
};

UpgradeInput input_of(const CommandInput& input) {
    UpgradeInput out;
    const auto take = [&](std::string wrong) {
        if (out.wrong.empty()) { out.wrong = std::move(wrong); }
    };
    out.all = option_of(input, "--all").has_value();
    out.rules_only = option_of(input, "--rules").has_value();
    const auto newest = static_cast<uint64_t>(store_releases().back()->version);
    take(number_option(input, "--from-store", 1, newest, out.from_store));
    take(number_option(input, "--to-store", 1, newest, out.to_store));
    take(number_option(input, "--seed", 0, UINT32_MAX, out.options.seed));
    if (out.all && (out.from_store != 0 || out.to_store != 0)) {
        take("--from-store and --to-store are for one pair; with --all the table of shipped versions says the release");
    }
    if (input.arguments.size() != (out.all ? 1 : 2)) {
        take("upgrade takes the project files of two versions, or with --all one project file");
    }
    return out;
}

UpgradeResult result_of(const ProductVersion& from, const ProductVersion& to, const UpgradeInput& typed) {
    UpgradeResult out{&from, &to, compare(from, to), std::nullopt};
    if (!typed.rules_only) { out.trial = try_upgrade(from, to, out.change, typed.options); }
    return out;
}

int run_pair(const CommandInput& input, const UpgradeInput& typed, std::ostream& out, std::ostream& err) {
    std::vector<ProductVersion> versions(2);
    for (size_t i = 0; i < 2; i++) {
        auto version = load_version(input.arguments[i], static_cast<int>(i == 0 ? typed.from_store : typed.to_store));
        if (!version) { return complain(input, version.error(), out, err); }
        versions[i] = std::move(*version);
        (void)place_version(versions[i]); // it has moved
    }
    const UpgradeResult result = result_of(versions[0], versions[1], typed);
    if (input.json) {
        out << json_of(result).dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else {
        print_upgrade(result, out);
    }
    return result.holds() ? exit_ok : exit_not_met;
}

int run_all(const CommandInput& input, const UpgradeInput& typed, std::ostream& out, std::ostream& err) {
    const auto versions = load_all_versions(input.arguments.front());
    if (!versions) { return complain(input, versions.error(), out, err); }
    if (versions->size() < 2 && versions->front().number != 0) {
        const ProductVersion& only = versions->front();
        if (input.json) {
            const nlohmann::json json{
                {"holds", true}, {"broken_rules", nlohmann::json::array()}, {"pairs", nlohmann::json::array()}};
            out << json.dump(2) << '\n';
        } else {
            out << wrapped(
                       fmt::format("{}: nothing to try yet: {} is the only one filed in {}, and {} is that very one",
                                   only.project.product.name, only.name, versions_folder(input.arguments.front()),
                                   input.arguments.front()),
                       2, 0)
                << '\n';
        }
        return exit_ok;
    }
    if (versions->size() < 2) {
        return complain(input,
                        fmt::format("no other version is filed in {}: perdure ship files one",
                                    versions_folder(input.arguments.front())),
                        out, err);
    }
    std::vector<const ProductVersion*> history;
    std::vector<UpgradeResult> results;
    for (const ProductVersion& version : *versions) {
        for (const ProductVersion* before : history) {
            results.push_back(result_of(*before, version, typed));
            results.push_back(result_of(version, *before, typed));
        }
        history.push_back(&version);
    }
    const std::vector<Breach> breaches = history.size() > 2 ? check_ids(history) : std::vector<Breach>{};
    bool holds = breaches.empty();
    nlohmann::json pairs = nlohmann::json::array();
    for (const UpgradeResult& result : results) {
        holds = holds && result.holds();
        pairs.push_back(json_of(result));
    }
    if (input.json) {
        const nlohmann::json json{{"holds", holds}, {"broken_rules", json_of(breaches)}, {"pairs", pairs}};
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else {
        print_upgrades(results, breaches, out);
    }
    return holds ? exit_ok : exit_not_met;
}

} // namespace

int run_upgrade(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const UpgradeInput typed = input_of(input);
    if (!typed.wrong.empty()) { return complain(input, typed.wrong, out, err); }
    return typed.all ? run_all(input, typed, out, err) : run_pair(input, typed, out, err);
}

} // namespace perdure
