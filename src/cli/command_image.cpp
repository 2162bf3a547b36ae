// perdure image: factory images, one or one a unit.
#include <atomic>
#include <filesystem>
#include <mutex>
#include <ostream>
#include <thread>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/image_report.hpp"
#include "cli/progress.hpp"
#include "image/unit_data.hpp"

namespace perdure {
namespace {

/// What was typed, checked.
struct ImageInput {
    ImageOptions options;
    std::string out; ///< a file, or with units a folder
    std::optional<std::string> units, set, merge, manifest;
    std::optional<uint64_t> flash_start;
    uint64_t threads = std::max(1U, std::thread::hardware_concurrency());
    std::string wrong;
};

ImageInput input_of(const CommandInput& input) {
    ImageInput out;
    const auto take = [&](std::string wrong) {
        if (out.wrong.empty()) { out.wrong = std::move(wrong); }
    };
    out.units = option_of(input, "--units");
    out.set = option_of(input, "--set");
    out.merge = option_of(input, "--merge");
    out.manifest = option_of(input, "--manifest");
    out.options.only_given = option_of(input, "--only-given").has_value();
    take(address_option(input, "--flash-start", out.flash_start));
    take(number_option(input, "--threads", 1, 256, out.threads));
    if (const auto path = option_of(input, "-o")) {
        out.out = *path;
    } else {
        take("image needs -o and where to write it, such as -o pump.hex");
    }
    if (out.units && out.set) { take("--set is for one unit; with --units the table has the data"); }
    if (out.units && out.manifest) { take("with --units the manifest is OUT/manifest.json; leave --manifest out"); }
    const auto named = format_of_name(out.out);
    out.options.format = named.value_or(HexFormat::intel_hex);
    const auto word = option_of(input, "--format");
    const std::string ending = std::filesystem::path(out.out).extension().string();
    if (!word && !out.units && !named && !ending.empty()) {
        take(fmt::format("'{}' would be no {} file: image writes Intel HEX (.hex), S-records (.srec, .s19) or a binary "
                         "(.bin); another ending, or --format with the one that is meant",
                         out.out, ending));
    }
    if (word) {
        const auto format = format_of_word(*word);
        if (!format) { take(fmt::format("--format takes hex, srec or bin, not '{}'", *word)); }
        out.options.format = format.value_or(HexFormat::intel_hex);
    }
    if (const auto name = option_of(input, "--checksum")) {
        const auto checksum = checksum_of_word(*name);
        if (!checksum) { take(fmt::format("--checksum takes sha256 or crc32, not '{}'", *name)); }
        out.options.checksum = checksum.value_or(Checksum::sha256);
    }
    return out;
}

/// The firmware to merge; absent, and complained of, if it cannot be.
std::optional<Memory> firmware_of(const std::string& path, const CommandInput& input, std::ostream& out,
                                  std::ostream& err) {
    const auto contents = read_file(path);
    if (!contents) {
        complain(input, contents.error(), out, err);
        return std::nullopt;
    }
    const HexFormat format = format_of_name(path).value_or(format_of_contents(*contents));
    if (format == HexFormat::binary) {
        complain(input, fmt::format("--merge takes Intel HEX or S-records; '{}' is binary and has no addresses", path),
                 out, err);
        return std::nullopt;
    }
    HexRead read = format == HexFormat::intel_hex ? read_intel_hex(*contents) : read_s_records(*contents);
    if (read.error_count != 0) {
        complain_rendered(input, render_hex_errors(path, *contents, read), out, err);
        return std::nullopt;
    }
    return std::move(read.memory);
}

/// All images, in threads. Empty, or what went wrong first.
std::string make_all(const ImagePlan& plan, const std::vector<UnitData>& units, const ImageInput& typed,
                     const Memory* firmware, std::vector<MadeImage>& made, Progress& bar) {
    made.resize(units.size());
    std::atomic<size_t> next = 0;
    std::atomic<bool> failed = false;
    std::mutex lock;
    std::string wrong;
    const auto work = [&] {
        for (size_t i = next++; i < units.size() && !failed; i = next++) {
            const std::string name = units[i].serial + std::string(ending_of(typed.options.format));
            auto image = make_image(plan, units[i], typed.options, firmware);
            std::string error = image ? write_file((std::filesystem::path(typed.out) / name).string(), image->contents)
                                      : fmt::format("unit {}: {}", units[i].serial, image.error());
            const std::lock_guard guard(lock);
            if (!error.empty() && !failed) {
                failed = true;
                wrong = std::move(error);
            } else if (image) {
                image->contents.clear();
                image->file = name;
                made[i] = std::move(*image);
            }
            bar.show(i + 1, units.size(), "images");
        }
    };
    std::vector<std::jthread> threads;
    for (uint64_t i = 0; i < std::min<uint64_t>(typed.threads, units.size()); i++) { threads.emplace_back(work); }
    threads.clear();
    return wrong;
}

int many(const CommandInput& input, const ImageInput& typed, const ImagePlan& plan, const Memory* firmware,
         std::ostream& out, std::ostream& err) {
    const auto table = read_file(*typed.units);
    if (!table) { return complain(input, table.error(), out, err); }
    const auto units = read_units(*table, *typed.units, *plan.project);
    if (!units) { return complain_rendered(input, units.error(), out, err); }
    std::error_code error;
    std::filesystem::create_directories(typed.out, error);
    if (!std::filesystem::is_directory(typed.out)) {
        return complain(input, fmt::format("cannot make the folder '{}'", typed.out), out, err);
    }
    std::vector<MadeImage> made;
    std::string wrong;
    {
        Progress bar(!input.json, err);
        wrong = make_all(plan, *units, typed, firmware, made, bar);
    }
    if (!wrong.empty()) { return complain(input, wrong, out, err); }
    const nlohmann::json manifest = manifest_of(plan, typed.options, made);
    const std::string path = (std::filesystem::path(typed.out) / "manifest.json").string();
    wrong = write_file(path, manifest.dump(2) + "\n");
    if (!wrong.empty()) { return complain(input, wrong, out, err); }
    if (input.json) {
        out << manifest.dump(2) << '\n';
    } else {
        print_images(plan, typed.options, made, typed.out, out);
    }
    return exit_ok;
}

int one(const CommandInput& input, const ImageInput& typed, const ImagePlan& plan, const Memory* firmware,
        std::ostream& out, std::ostream& err) {
    UnitData data;
    const std::string unset = typed.set ? read_settings(*typed.set, *plan.project, data) : "";
    if (!unset.empty()) { return complain(input, "--set: " + unset, out, err); }
    auto image = make_image(plan, data, typed.options, firmware);
    if (!image) { return complain(input, image.error(), out, err); }
    std::string wrong = write_file(typed.out, image->contents);
    if (!wrong.empty()) { return complain(input, wrong, out, err); }
    image->file = std::filesystem::path(typed.out).filename().string();
    const std::vector<MadeImage> made{std::move(*image)};
    const nlohmann::json manifest = manifest_of(plan, typed.options, made);
    if (typed.manifest) {
        wrong = write_file(*typed.manifest, manifest.dump(2) + "\n");
        if (!wrong.empty()) { return complain(input, wrong, out, err); }
    }
    if (input.json) {
        out << manifest.dump(2) << '\n';
    } else {
        print_images(plan, typed.options, made, typed.out, out);
    }
    return exit_ok;
}

} // namespace

int run_image(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const ImageInput typed = input_of(input);
    if (!typed.wrong.empty()) { return complain(input, typed.wrong, out, err); }
    const auto project = project_of(input, out, err);
    if (!project) { return exit_input_wrong; }
    const auto plan = make_image_plan(*project, typed.flash_start);
    if (!plan) { return complain(input, plan.error().text, out, err); }
    if (typed.options.format != HexFormat::binary && !plan->areas.front().place.address) {
        return complain(
            input,
            fmt::format("{} does not say where flash starts, and {} needs addresses: a line such as flash_start = "
                        "\"0x08000000\" in [part], or --flash-start",
                        project->path, name_of(typed.options.format)),
            out, err);
    }
    std::optional<Memory> firmware;
    if (typed.merge) {
        firmware = firmware_of(*typed.merge, input, out, err);
        if (!firmware) { return exit_input_wrong; }
        Memory nothing;
        const std::string overlap = add_firmware(nothing, *plan, *firmware);
        if (!overlap.empty()) {
            return complain(input, fmt::format("{} does not go with the image: {}", *typed.merge, overlap), out, err);
        }
    }
    const Memory* added = firmware ? &*firmware : nullptr;
    return typed.units ? many(input, typed, *plan, added, out, err) : one(input, typed, *plan, added, out, err);
}

} // namespace perdure
