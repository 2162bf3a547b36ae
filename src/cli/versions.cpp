#include "cli/versions.hpp"

#include <algorithm>
#include <filesystem>

#include <fmt/format.h>

#include "cli/files.hpp"
#include "firmware/firmware.hpp"
#include "project/diagnostic.hpp"
#include "project/read.hpp"
#include "upgrade/releases.hpp"

namespace perdure {
namespace {

namespace fs = std::filesystem;

WrongVersion plain(const std::string& text) {
    return {{}, fmt::format("perdure: error: {}\n", text)};
}

/// The table in `folder`, its files held against it.
tl::expected<std::vector<Shipped>, WrongVersion> table_of(const fs::path& folder) {
    const fs::path path = folder / "shipped.csv";
    if (!fs::exists(path)) { return std::vector<Shipped>{}; }
    const auto text = read_file(path.string());
    if (!text) { return tl::unexpected(plain(text.error())); }
    auto all = read_shipped(*text, path.string());
    if (!all) { return tl::unexpected(WrongVersion{{}, all.error() + "\n"}); }
    for (const Shipped& one : *all) {
        const std::string file = (folder / fmt::format("{}.toml", one.number)).string();
        const auto contents = read_file(file);
        if (!contents) { return tl::unexpected(plain(contents.error())); }
        if (sha256_hex(*contents) != one.sha256) {
            return tl::unexpected(
                WrongVersion{{},
                             fmt::format("{}: error: is not as it was filed as version {}\n  expected: the file of "
                                         "SHA-256 {}, say from the history of your sources\n",
                                         file, one.number, one.sha256)});
        }
    }
    return std::move(*all);
}

} // namespace

int complain(const CommandInput& input, const WrongVersion& wrong, std::ostream& out, std::ostream& err) {
    return wrong.errors.empty() ? complain_rendered(input, wrong.text, out, err)
                                : complain(input, wrong.errors, out, err);
}

std::string versions_folder(const std::string& project_path) {
    return (fs::path(project_path).parent_path() / "versions").string();
}

tl::expected<std::vector<Shipped>, WrongVersion> shipped_versions(const std::string& project_path) {
    return table_of(versions_folder(project_path));
}

tl::expected<ProductVersion, WrongVersion> load_version(const std::string& path, int release) {
    ProductVersion out;
    out.path = path;
    out.name = "the present one";
    out.store_release = store_releases().back()->version;
    const fs::path folder = fs::absolute(path).parent_path();
    if (folder.filename() == "versions") {
        const auto all = table_of(folder);
        if (!all) { return tl::unexpected(all.error()); }
        for (const Shipped& one : *all) {
            if (fs::path(path).filename() != fmt::format("{}.toml", one.number)) { continue; }
            out.number = one.number;
            out.name = fmt::format("version {}", one.number);
            out.store_release = one.store_release;
        }
    }
    if (release != 0) { out.store_release = release; }
    auto project = load_project(path, catalog());
    if (!project) { return tl::unexpected(WrongVersion{std::move(project.error()), {}}); }
    out.project = std::move(*project);
    const std::string refused = place_version(out);
    if (!refused.empty()) { return tl::unexpected(plain(refused)); }
    return out;
}

tl::expected<std::vector<ProductVersion>, WrongVersion> load_all_versions(const std::string& project_path) {
    const auto shipped = shipped_versions(project_path);
    if (!shipped) { return tl::unexpected(shipped.error()); }
    std::vector<ProductVersion> out;
    for (const Shipped& one : *shipped) {
        auto version =
            load_version((fs::path(versions_folder(project_path)) / fmt::format("{}.toml", one.number)).string());
        if (!version) { return tl::unexpected(version.error()); }
        out.push_back(std::move(*version));
    }
    auto present = load_version(project_path);
    if (!present) { return tl::unexpected(present.error()); }
    const auto text = read_file(project_path);
    const bool filed = !shipped->empty() && text && sha256_hex(*text) == shipped->back().sha256 &&
                       shipped->back().store_release == present->store_release;
    if (!filed) { out.push_back(std::move(*present)); }
    for (ProductVersion& version : out) { // they have moved
        const std::string refused = place_version(version);
        if (!refused.empty()) { return tl::unexpected(plain(refused)); }
    }
    return out;
}

} // namespace perdure
