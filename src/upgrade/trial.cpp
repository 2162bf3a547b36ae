#include "upgrade/trial.hpp"

#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "upgrade/area_run.hpp"

namespace perdure {
namespace {

/// A torn entry may pass its check code by chance; with other contents it does not do so again at the same place.
bool fails_with_other_contents(const ProductVersion& from, const ProductVersion& to, const AreaChange& area,
                               Start start, const TrialOptions& options, uint64_t cut) {
    for (uint64_t more = 1; more <= 3; more++) {
        AreaRun other(from, to, area, start, options, options.seed + 1000 * more);
        ImageTrial unused;
        if (!other.prepare(unused).empty() || !other.without_cuts(unused).empty()) { return true; }
        if (other.with_cut(cut, unused).empty() && other.with_saves(cut, unused).empty()) { return false; }
    }
    return true;
}

/// An area with fewer of its blocks: a start reads all of a ring, and there is a start or more for each way of each
/// cut. As many as both versions' records need, `blocks_min` at least; nothing if that is all of them.
class ShortRing {
public:
    explicit ShortRing(const AreaChange& area) : from_(*area.from), to_(*area.to), change_(area) {
        const uint32_t all = from_.layout.geometry.ring_blocks;
        constexpr uint32_t blocks_min = 5; // a ring that has a second spare block, and live data in two
        constexpr uint32_t long_from = 7;  // shorter ones are tried whole
        for (uint32_t blocks = blocks_min; all >= long_from && blocks < all && !found_; blocks++) {
            found_ = shorten(from_, *area.from, blocks) && shorten(to_, *area.to, blocks);
        }
        change_.from = &from_;
        change_.to = &to_;
    }
    ShortRing(const ShortRing&) = delete;
    ShortRing& operator=(const ShortRing&) = delete;

    [[nodiscard]] bool found() const { return found_; }
    [[nodiscard]] const AreaChange& area() const { return change_; }
    [[nodiscard]] uint32_t blocks() const { return from_.layout.geometry.ring_blocks; }

private:
    static bool shorten(ImageArea& to, const ImageArea& whole, uint32_t blocks) {
        FlashGeometry geometry = whole.layout.geometry;
        geometry.ring_blocks = blocks;
        auto layout = lay_out_ring(geometry, whole.layout.check_bytes * 8, whole.records);
        if (!layout) { return false; }
        to.layout = std::move(*layout);
        return true;
    }

    ImageArea from_, to_;
    AreaChange change_;
    bool found_ = false;
};

ImageTrial try_image(const ProductVersion& from, const ProductVersion& to, const AreaChange& whole, Start start,
                     const TrialOptions& options) {
    ImageTrial out;
    AreaRun full(from, to, whole, start, options, options.seed);
    out.failure = full.prepare(out);
    if (out.failure.empty()) { out.failure = full.without_cuts(out); }
    const ShortRing shortened(whole);
    const AreaChange& area = shortened.found() ? shortened.area() : whole;
    std::optional<AreaRun> on_short;
    if (shortened.found() && out.failure.empty()) {
        out.cut_blocks = shortened.blocks();
        on_short.emplace(from, to, area, start, options, options.seed);
        ImageTrial few = out;
        out.failure = on_short->prepare(few);
        if (out.failure.empty()) { out.failure = on_short->without_cuts(few); }
        out.operations = few.operations;
        out.operations_after = few.operations_after;
    }
    AreaRun& run = on_short ? *on_short : full;
    out.after_step = std::max<uint64_t>(1, (out.operations_after + options.after_max - 1) / options.after_max);
    const uint64_t end = out.operations + out.operations_after;
    for (uint64_t cut = 0; out.failure.empty() && cut < end; cut += cut < out.operations ? 1 : out.after_step) {
        std::string wrong = run.with_cut(cut, out);
        if (wrong.empty()) { wrong = run.with_saves(cut, out); }
        if (wrong.empty()) { continue; }
        if (fails_with_other_contents(from, to, area, start, options, cut)) { out.failure = wrong; }
        out.by_chance += out.failure.empty() ? 1 : 0;
    }
    return out;
}

/// Where areas stand: by address where both versions say it, else counted from the start of flash.
uint64_t begin_of(const ImageArea& area, bool by_address) {
    return by_address ? *area.place.address : area.place.offset;
}

/// The other version's flash as this version's area finds it: the bytes from `begin` on, blank where nothing was.
std::vector<uint8_t> flash_at(const ImageArea& place, uint64_t begin,
                              const std::vector<std::pair<uint64_t, std::vector<uint8_t>>>& old) {
    std::vector<uint8_t> out(place.layout.geometry.area_bytes(), place.layout.geometry.blank);
    for (const auto& [offset, bytes] : old) {
        for (size_t i = 0; i < bytes.size(); i++) {
            const uint64_t at = offset + i;
            if (at >= begin && at - begin < out.size()) { out[at - begin] = bytes[i]; }
        }
    }
    return out;
}

/// The areas of `version` as its firmware leaves them after two turns, with where they begin.
std::vector<std::pair<uint64_t, std::vector<uint8_t>>> filled(const ProductVersion& version, bool by_address,
                                                              uint64_t seed) {
    std::vector<std::pair<uint64_t, std::vector<uint8_t>>> out;
    for (const ImageArea& area : version.plan.areas) {
        Flash flash(area.layout.geometry, {});
        FirmwareRun run(version, area, calls_of(flash));
        HeldData contents;
        std::mt19937_64 random(seed);
        (void)run.format();
        (void)run.save_all(contents, random);
        (void)run.turn(contents, random, 2);
        out.emplace_back(begin_of(area, by_address), flash.image());
    }
    return out;
}

/// What open makes of a flash that is not this version's.
AreaTrial observe(const ProductVersion& from, const ProductVersion& to, const ImageArea& area, uint64_t seed) {
    AreaTrial out;
    out.name = area.name;
    const bool by_address = area.place.address && from.plan.areas.front().place.address;
    const std::vector<uint8_t> before = flash_at(area, begin_of(area, by_address), filled(from, by_address, seed));
    Flash flash(area.layout.geometry, {});
    flash.load(before);
    FirmwareRun run(to, area, calls_of(flash));
    out.opened = run.open();
    out.untouched = flash.image() == before;
    return out;
}

/// What is left out of the trial of these two.
std::vector<std::string> left_out(const ProductVersion& to, const SchemaChange& change,
                                  const std::vector<AreaTrial>& areas) {
    std::vector<std::string> out;
    for (const AreaTrial& area : areas) {
        if (area.images.empty() || area.images.front().cut_blocks == 0) { continue; }
        out.push_back(fmt::format("cuts on the whole ring of area {}: they fall on a ring of {} such blocks", area.name,
                                  area.images.front().cut_blocks));
    }
    const auto carried = std::ranges::count_if(change.areas, [](const AreaChange& area) { return area.same_flash(); });
    if (carried > 1) { out.emplace_back("several areas cut at once: each is tried by itself"); }
    const auto any = [&](const auto& is) { return std::ranges::any_of(to.project.records, is); };
    if (any([](const Record& record) { return !record.from.empty(); })) {
        out.emplace_back("the product's own conversions: one of the trial's stands in for each");
    }
    if (any([](const Record& record) { return record.saved_at_power_fail(); })) {
        out.emplace_back("a cut inside a save at power failure: perdure cut tries that, for one version");
    }
    if (carried != 0) {
        out.emplace_back("cuts once the version before goes on again, but for its first start after a cut");
    }
    return out;
}

} // namespace

bool AreaTrial::holds() const {
    return carried && std::all_of(images.begin(), images.end(), [](const ImageTrial& i) { return i.failure.empty(); });
}

bool Trial::holds() const {
    return std::all_of(areas.begin(), areas.end(), [](const AreaTrial& a) { return a.holds() || a.is_new; });
}

uint64_t Trial::starts() const {
    uint64_t sum = 0;
    for (const AreaTrial& area : areas) {
        for (const ImageTrial& image : area.images) { sum += image.starts; }
    }
    return sum;
}

Trial try_upgrade(const ProductVersion& from, const ProductVersion& to, const SchemaChange& change,
                  const TrialOptions& options) {
    Trial out;
    for (const AreaChange& area : change.areas) {
        if (area.to == nullptr) { continue; }
        if (area.same_flash()) {
            AreaTrial& trial = out.areas.emplace_back();
            trial.name = area.name;
            trial.carried = true;
            for (const Start start : {Start::fresh, Start::wrapped, Start::worn}) {
                trial.images.push_back(try_image(from, to, area, start, options));
            }
            continue;
        }
        AreaTrial& trial = out.areas.emplace_back(observe(from, to, *area.to, options.seed));
        trial.is_new = area.from == nullptr;
    }
    out.not_tried = left_out(to, change, out.areas);
    return out;
}

} // namespace perdure
