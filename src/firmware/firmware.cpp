#include "firmware/firmware.hpp"

#include <algorithm>
#include <array>
#include <stdexcept>

#include <sha256.h>

#include <fmt/format.h>

#include "firmware/embedded.hpp"
#include "firmware/model.hpp"
#include "firmware/names.hpp"

namespace perdure {
namespace {

/// What is written from which template. '%' in a path stands for the prefix.
struct Template {
    std::string_view path, source;
    bool yours = false;
    bool for_conversions = false; ///< only where a record is made from retired ones
    bool bench = false;           ///< only where it is asked for
};

constexpr std::array templates{
    Template{"README.md", "README.md.mustache"},
    Template{"%.h", "data.h.mustache"},
    Template{"%.c", "data.c.mustache"},
    Template{"perdure_features.h", "perdure_features.h.mustache"},
    Template{"%_port.c", "data_port.c.mustache", true},
    Template{"%_convert.c", "data_convert.c.mustache", true, true},
    Template{"%_guard.h", "data_guard.h.mustache"},
    Template{"%_guard.c", "data_guard.c.mustache"},
    Template{"%_bench.h", "data_bench.h.mustache", false, false, true},
    Template{"%_bench.c", "data_bench.c.mustache", false, false, true},
    Template{"%.ld", "data.ld.mustache"},
    Template{"%.cmake", "data.cmake.mustache"},
    Template{"%.mk", "data.mk.mustache"},
    Template{"host/Makefile", "Makefile.mustache"},
    Template{"host/host_test.c", "host_test.c.mustache"},
    Template{"host/ram_port.c", "ram_port.c.mustache"},
    Template{"host/ram_port.h", "ram_port.h.mustache"},
};

constexpr std::array store_files{"store.h",   "store.c",   "port.h",  "check_config.c",
                                 "README.md", "format.md", "SIZE.md", "MISRA.md"};

/// The template with every line that holds nothing but the tag of a section joined to the next, so that a section that
/// is left out leaves no empty line. An empty line behind one such tag stays, though the template engine takes the
/// line feed behind a tag that stands alone.
std::string without_tag_lines(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        const size_t end = std::min(text.find('\n'), text.size() - 1) + 1;
        std::string_view line = text.substr(0, end);
        text.remove_prefix(end);
        const bool tag = line.size() > 5 && line.rfind("{{", 0) == 0 && line.find("}}") == line.size() - 3 &&
                         std::string_view("#^/").find(line[2]) != std::string_view::npos;
        if (tag) { line.remove_suffix(1); }
        out += line;
        if (tag && !text.empty() && text.front() == '\n') { out += '\n'; }
    }
    return out;
}

/// One empty line where several stand.
std::string without_empty_pairs(std::string text) {
    for (size_t at = 0; (at = text.find("\n\n\n", at)) != std::string::npos;) { text.erase(at, 1); }
    return text;
}

std::string path_of(std::string_view path, const std::string& prefix) {
    std::string out(path);
    if (const size_t at = out.find('%'); at != std::string::npos) { out.replace(at, 1, prefix); }
    return out;
}

} // namespace

tl::expected<std::vector<EmittedFile>, Diagnostic> emit_firmware(const Project& project, const FirmwarePlan& plan,
                                                                 const EmitOptions& options) {
    if (auto collision = colliding_name(project, plan, options.prefix)) {
        return tl::unexpected(std::move(*collision));
    }
    const kainjow::mustache::data values = template_values(project, plan, options);
    std::vector<EmittedFile> out;
    const bool conversions = std::any_of(project.records.begin(), project.records.end(),
                                         [](const Record& record) { return !record.from.empty(); });
    for (const Template& from : templates) {
        if (from.for_conversions && !conversions) { continue; }
        if (from.bench && !options.bench) { continue; }
        kainjow::mustache::mustache text{without_tag_lines(firmware_file(from.source))};
        text.set_custom_escape([](const std::string& value) { return value; }); // the output is no HTML
        EmittedFile file{path_of(from.path, options.prefix), without_empty_pairs(text.render(values)), from.yours};
        if (!text.is_valid()) { throw std::logic_error(fmt::format("{}: {}", from.source, text.error_message())); }
        out.push_back(std::move(file));
    }
    for (const char* name : store_files) {
        out.push_back({fmt::format("store/{}", name), std::string(firmware_file(name)), false});
    }
    return out;
}

std::string sha256_hex(std::string_view bytes) {
    std::array<char, SHA256_DIGEST_STRING_LENGTH> out{};
    SHA256Data(reinterpret_cast<const uint8_t*>(bytes.data()), bytes.size(), out.data());
    return {out.data()};
}

} // namespace perdure
