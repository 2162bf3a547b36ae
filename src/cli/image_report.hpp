// Factory images as files, and what is said of them.
#pragma once

#include <iosfwd>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>
#include <tl/expected.hpp>

#include "image/checksum.hpp"
#include "image/image.hpp"

namespace perdure {

struct ImageOptions {
    HexFormat format = HexFormat::intel_hex;
    Checksum checksum = Checksum::sha256;
    bool only_given = false;
};

/// One unit's image.
struct MadeImage {
    std::string serial, file;
    std::string contents;                    ///< of the file
    std::string checksum;                    ///< of the file
    std::vector<std::string> area_checksums; ///< of each area's bytes, blank ones too
    uint64_t bytes = 0;                      ///< that the file programs
    uint64_t begin = 0;                      ///< address of the first of them; a binary's first byte
    uint32_t records_stored = 0;
    std::vector<std::string> left_out;  ///< records with if_lost = "refuse" and no data given
    std::vector<std::string> defaulted; ///< fields not given, of such records of which others were
};

/// ".hex", ".srec" or ".bin".
std::string_view ending_of(HexFormat format);

/// Everything from the store's run to the file's text. `firmware` may be null.
tl::expected<MadeImage, std::string> make_image(const ImagePlan& plan, const UnitData& data,
                                                const ImageOptions& options, const Memory* firmware);

/// What was made, for the programmer's tools: files, checksums, ranges to keep, how to verify.
nlohmann::json manifest_of(const ImagePlan& plan, const ImageOptions& options, const std::vector<MadeImage>& made);

void print_images(const ImagePlan& plan, const ImageOptions& options, const std::vector<MadeImage>& made,
                  const std::string& where, std::ostream& out);

} // namespace perdure
