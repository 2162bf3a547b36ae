// Two versions of a small product for tests, from the text of their records.
#pragma once

#include <stdexcept>
#include <string>

#include "project/diagnostic.hpp"
#include "project/read.hpp"
#include "upgrade/releases.hpp"
#include "upgrade/schema.hpp"

namespace perdure {

/// A total that takes most of the saves.
inline const std::string sample_energy = R"(
[record.energy]
id = 1
kind = "total"
fields = [ { name = "wh", type = "u32", movement = 100 } ]
saves = [ { every = "1 min" } ]
)";

/// Two limits that were whole numbers, under another id now and converted.
inline const std::string sample_limits_converted = R"(
[record.limits_1]
id = 2
kind = "value"
retired = true
fields = [ { name = "low", type = "u16", default = 5 }, { name = "high", type = "u16" } ]
[record.limits]
id = 3
kind = "value"
from = "limits_1"
fields = [ { name = "low", type = "f32" }, { name = "high", type = "f32" } ]
saves = [ { events = "1/day" } ]
)";

/// A product of those records on a part with blocks of 2 KiB and units of 8 bytes. Throws what is wrong with it.
inline ProductVersion sample_version(uint32_t number, const std::string& records, const std::string& area,
                                     int release = 0) {
    const std::string text = "[product]\nname = \"sample\"\nlife = \"5 y\"\nstarts = \"1/day\"\n"
                             "[part]\nname = \"sample part\"\nerase_block = \"2048 B\"\nblocks = 64\n"
                             "program_unit = \"8 B\"\nprogram_rule = \"once\"\nblank = 0xFF\nendurance = 10000\n"
                             "erase_max = \"40 ms\"\nprogram_max = \"100 us\"\n[area.store]\n" +
                             area + "\n" + records;
    ProductVersion out;
    out.number = number;
    out.name = number == 0 ? "the present one" : "version " + std::to_string(number);
    out.path = "sample.toml";
    out.store_release = release != 0 ? release : store_releases().back()->version;
    auto project = read_project(text, out.path, catalog());
    if (!project) { throw std::runtime_error(render(project.error())); }
    out.project = std::move(*project);
    return out;
}

/// Version 1 and the present one, placed.
class SamplePair {
public:
    SamplePair(const std::string& from, const std::string& to, const std::string& from_area = "size = \"6 KiB\"",
               const std::string& to_area = "", int from_release = 0, bool lazy = false)
        : from_(sample_version(1, from, from_area, from_release)),
          to_(sample_version(0, to, to_area.empty() ? from_area : to_area)) {
        for (ProductVersion* version : {&from_, &to_}) {
            version->project.product.lazy_start = lazy;
            const std::string refused = place_version(*version);
            if (!refused.empty()) { throw std::runtime_error(refused); }
        }
    }
    SamplePair(const SamplePair&) = delete;
    SamplePair& operator=(const SamplePair&) = delete;

    [[nodiscard]] const ProductVersion& from() const { return from_; }
    [[nodiscard]] const ProductVersion& to() const { return to_; }

private:
    ProductVersion from_, to_;
};

} // namespace perdure
