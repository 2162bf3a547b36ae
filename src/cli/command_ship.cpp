// perdure ship: files a project as a version that products in the field have.
#include <filesystem>
#include <ostream>

#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "cli/upgrade_report.hpp"
#include "cli/versions.hpp"
#include "firmware/firmware.hpp"
#include "upgrade/fixed_place.hpp"
#include "upgrade/releases.hpp"

namespace perdure {
namespace {

/// The rules that this version breaks, by itself and against those before it.
std::vector<Breach> broken(const std::vector<ProductVersion>& versions) {
    std::vector<Breach> out = check_places(versions.back());
    std::vector<const ProductVersion*> history;
    for (const ProductVersion& version : versions) { history.push_back(&version); }
    if (versions.size() > 1) {
        for (Breach& breach : compare(versions[versions.size() - 2], versions.back()).breaches) {
            out.push_back(std::move(breach));
        }
    }
    if (versions.size() > 2) {
        for (Breach& breach : check_ids(history)) { out.push_back(std::move(breach)); }
    }
    return out;
}

/// Copies the file first and names it in the table last, so that a table never names what is not there.
std::string file_away(const std::string& folder, const std::string& contents, const std::vector<Shipped>& shipped) {
    std::error_code error;
    std::filesystem::create_directories(folder, error);
    const std::filesystem::path path(folder);
    const std::string file = (path / fmt::format("{}.toml", shipped.back().number)).string();
    if (std::filesystem::exists(file) && read_file(file).value_or("") != contents) {
        return fmt::format("'{}' is there, and the table does not name it: move it out of the way", file);
    }
    std::string wrong = write_file(file, contents);
    if (wrong.empty()) { wrong = write_file((path / "shipped.csv").string(), write_shipped(shipped)); }
    return wrong;
}

} // namespace

int run_ship(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const std::string& path = input.arguments.front();
    uint64_t release = static_cast<uint64_t>(store_releases().back()->version);
    const std::string wrong = number_option(input, "--store", 1, release, release);
    if (!wrong.empty()) { return complain(input, wrong, out, err); }
    const auto contents = read_file(path);
    if (!contents) { return complain(input, contents.error(), out, err); }
    auto shipped = shipped_versions(path);
    if (!shipped) { return complain(input, shipped.error(), out, err); }
    const auto versions = load_all_versions(path);
    if (!versions) { return complain(input, versions.error(), out, err); }
    const std::string folder = versions_folder(path);
    const std::string sha256 = sha256_hex(*contents);
    const bool filed = !shipped->empty() && shipped->back().sha256 == sha256 &&
                       shipped->back().store_release == static_cast<int>(release);
    if (!shipped->empty() && versions->front().project.product.name != versions->back().project.product.name) {
        return complain(input,
                        fmt::format("{} holds versions of '{}', and {} is of '{}': a folder for each product", folder,
                                    versions->front().project.product.name, path,
                                    versions->back().project.product.name),
                        out, err);
    }
    const std::vector<Breach> breaches = filed ? std::vector<Breach>{} : broken(*versions);
    if (!filed && breaches.empty()) {
        shipped->push_back({static_cast<uint32_t>(shipped->size() + 1), static_cast<int>(release), sha256,
                            option_of(input, "--note").value_or("")});
        const std::string failed = file_away(folder, *contents, *shipped);
        if (!failed.empty()) { return complain(input, failed, out, err); }
    }
    std::vector<std::string> warnings;
    if (!filed && versions->size() > 1) {
        warnings = compare((*versions)[versions->size() - 2], versions->back()).warnings;
    }
    if (input.json) {
        const nlohmann::json json{{"holds", breaches.empty()},
                                  {"filed", !filed && breaches.empty()},
                                  {"version", breaches.empty() ? shipped->back().number : 0},
                                  {"folder", folder},
                                  {"sha256", sha256},
                                  {"store", release},
                                  {"broken_rules", json_of(breaches)},
                                  {"warnings", warnings}};
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else if (!breaches.empty()) {
        out << fmt::format("{} is not filed:\n", path);
        print_breaches(breaches, out);
        print_warnings(warnings, out);
    } else {
        out << wrapped(fmt::format(
                           "{} is {}filed as version {}, with store {}: {}", path, filed ? "already " : "",
                           shipped->back().number, release,
                           (std::filesystem::path(folder) / fmt::format("{}.toml", shipped->back().number)).string()),
                       2, 0)
            << '\n';
        out << fmt::format("SHA-256 {}\n", sha256);
        print_warnings(warnings, out);
    }
    return breaches.empty() ? exit_ok : exit_not_met;
}

} // namespace perdure
