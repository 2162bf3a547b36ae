#include "upgrade/trial.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "dump/decode.hpp"
#include "upgrade/firmware_run.hpp"
#include "upgrade/trial_flash.hpp"

namespace perdure {
namespace {

enum class Start { fresh, wrapped, worn };

/// Two versions' firmwares over one area whose flash is the same to both.
class AreaRun {
public:
    AreaRun(const ProductVersion& from, const ProductVersion& to, const AreaChange& area, Start start,
            const TrialOptions& options, uint64_t seed)
        : from_(from), to_(to), area_(area), start_(start), options_(options), random_(seed),
          flash_(area.from->layout.geometry) {}

    /// Fills the flash by the firmware it comes from. Empty, or what went wrong.
    std::string prepare(ImageTrial& out) {
        FirmwareRun old(from_, *area_.from, flash_.calls());
        const uint32_t blocks = area_.from->layout.geometry.ring_blocks;
        if (old.format() != RELEASE_OK) { return "the earlier firmware cannot format"; }
        std::string wrong = old.save_all(contents_, random_);
        uint32_t turns = 0;
        switch (start_) {
        case Start::fresh:
            out.name = "fresh";
            out.text = "formatted, every record saved once";
            break;
        case Start::wrapped:
            turns = 2;
            out.name = "wrapped";
            out.text = "the ring turned twice";
            break;
        case Start::worn:
            turns = blocks >= 4 ? 3 : 12;
            out.name = "worn";
            out.text = blocks >= 4 ? "3 turns, a block whose erase fails set aside" : "12 turns";
            break;
        }
        if (start_ == Start::worn && blocks >= 4) {
            CutDevice device = flash_.flash.device();
            device.failing_block = 1;
            device.failing_erase = true;
            flash_.flash.set_device(device);
        }
        if (wrong.empty() && turns != 0) { wrong = old.turn(contents_, random_, turns); }
        if (wrong.empty() && start_ == Start::worn && blocks >= 4 && old.store().blocks_bad() == 0) {
            wrong = "no block was set aside";
        }
        uint64_t read = 0;
        if (wrong.empty()) { wrong = wrong_in(old.store(), contents_, read); }
        flash_.flash.forget_marks();
        base_ = flash_.flash.mark();
        return wrong.empty() ? broken_rule() : fmt::format("filling it by {}: {}", from_.name, wrong);
    }

    /// Opens, converts, saves, turns the ring; then back to the version before, and here again.
    std::string without_cuts(ImageTrial& out) {
        HeldData contents = contents_;
        std::mt19937_64 random = random_;
        flash_.power();
        {
            FirmwareRun now(to_, *area_.to, flash_.calls());
            out.opened = now.open();
            if (out.opened != RELEASE_OK) { return fmt::format("open gives {}", name_of(out.opened)); }
            contents.opened_by(area_.to->records);
            std::string wrong = wrong_in(now.store(), contents, out.records_read);
            if (wrong.empty()) { wrong = migrate(now, contents, random); }
            operations_ = out.operations = flash_.operations;
            if (wrong.empty()) { wrong = wrong_in(now.store(), contents, out.records_read); }
            if (wrong.empty()) { wrong = wrong_by_dump(contents); }
            if (wrong.empty()) { wrong = now.go_on(contents, random, 1); }
            out.operations_after = flash_.operations - out.operations;
            if (wrong.empty()) { wrong = now.turn(contents, random, 2); }
            if (wrong.empty()) { wrong = wrong_in(now.store(), contents, out.records_read); }
            if (!wrong.empty()) { return wrong; }
        }
        std::string wrong = visit(from_, *area_.from, contents, random, out);
        if (!wrong.empty()) { return fmt::format("back under {}: {}", from_.name, wrong); }
        wrong = visit(to_, *area_.to, contents, random, out);
        if (!wrong.empty()) { return fmt::format("under {} once more: {}", to_.name, wrong); }
        out.back = true;
        return broken_rule();
    }

    void wind_back() { flash_.flash.undo(base_); }

    /// Cuts operation `cut` of the migration or behind it, and tries what may come of it.
    std::string with_cut(uint64_t cut, ImageTrial& out) {
        wind_back();
        HeldData contents = contents_;
        std::mt19937_64 random = random_;
        flash_.power(cut);
        {
            FirmwareRun now(to_, *area_.to, flash_.calls());
            if (now.open() == RELEASE_OK) {
                contents.opened_by(area_.to->records);
                if (migrate(now, contents, random).empty()) { (void)now.go_on(contents, random, 1); }
            }
        }
        if (!flash_.dark) { return "the migration asks for fewer operations than without a cut"; }
        contents.opened_by(area_.to->records); // it had begun to
        out.cut_points++;
        const ForkingFlash::Mark after = flash_.flash.mark();
        const uint64_t ways = flash_.flash.ways_to_read();
        const uint64_t count = std::min<uint64_t>(ways, options_.ways_max);
        for (uint64_t i = 0; i < count; i++) {
            const uint64_t way = i * (ways / count);
            out.ways++;
            flash_.flash.power_up(way);
            const std::string seen = flash_.flash.readings();
            std::string wrong = resume(to_, *area_.to, contents, out);
            flash_.flash.undo(after);
            if (wrong.empty()) {
                flash_.flash.power_up(way);
                wrong = resume(from_, *area_.from, contents, out);
                flash_.flash.undo(after);
            }
            if (wrong.empty() && cut < operations_ && i < options_.nested_ways_max) {
                wrong = cut_start(way, contents, out);
            }
            if (!wrong.empty()) { return fmt::format("cut in operation {}, then read as {}: {}", cut, seen, wrong); }
        }
        return {};
    }

private:
    [[nodiscard]] std::string broken_rule() const {
        const std::string& breach = flash_.flash.breach();
        return breach.empty() ? std::string() : fmt::format("against the part's rules: {}", breach);
    }

    /// What a firmware does after an update: its conversions, then the saves of ordinary life.
    static std::string migrate(FirmwareRun& now, HeldData& contents, std::mt19937_64& random) {
        std::string wrong = now.convert(contents);
        if (wrong.empty()) { wrong = now.save_all(contents, random); }
        if (wrong.empty()) { now.service(); }
        return wrong;
    }

    /// Opens, reads all, saves all, turns the ring, reads all.
    std::string visit(const ProductVersion& version, const ImageArea& area, HeldData& contents, std::mt19937_64& random,
                      ImageTrial& out) {
        FirmwareRun run(version, area, flash_.calls());
        const release_status opened = run.open();
        if (opened != RELEASE_OK) { return fmt::format("open gives {}", name_of(opened)); }
        contents.opened_by(area.records);
        std::string wrong = wrong_in(run.store(), contents, out.records_read);
        if (wrong.empty()) { wrong = run.convert(contents); }
        if (wrong.empty()) { wrong = run.save_all(contents, random); }
        if (wrong.empty()) { wrong = run.turn(contents, random, 1); }
        if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
        return wrong;
    }

    /// The first start after a cut, and the saves after it.
    std::string resume(const ProductVersion& version, const ImageArea& area, HeldData contents, ImageTrial& out) {
        out.starts++;
        flash_.power();
        FirmwareRun run(version, area, flash_.calls());
        const release_status opened = run.open();
        if (opened != RELEASE_OK) { return fmt::format("{}: open gives {}", version.name, name_of(opened)); }
        contents.opened_by(area.records);
        std::mt19937_64 random = random_;
        std::string wrong = wrong_in(run.store(), contents, out.records_read);
        if (wrong.empty()) { wrong = run.convert(contents); }
        if (wrong.empty()) { wrong = run.save_all(contents, random); }
        if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
        if (wrong.empty()) { wrong = broken_rule(); }
        return wrong.empty() ? wrong : fmt::format("{}: {}", version.name, wrong);
    }

    /// The start that follows a cut is cut as well, in each of its operations.
    std::string cut_start(uint64_t way, const HeldData& contents, ImageTrial& out) {
        const ForkingFlash::Mark before = flash_.flash.mark();
        for (uint64_t cut = 0;; cut++) {
            flash_.flash.power_up(way);
            flash_.power(cut);
            {
                FirmwareRun run(to_, *area_.to, flash_.calls());
                (void)run.open();
            }
            if (!flash_.dark) {
                flash_.flash.undo(before);
                return {};
            }
            out.nested_cuts++;
            const ForkingFlash::Mark after = flash_.flash.mark();
            const uint64_t ways = flash_.flash.ways_to_read();
            for (const uint64_t next : {uint64_t{0}, ways - 1}) {
                flash_.flash.power_up(next);
                std::string wrong = resume(to_, *area_.to, contents, out);
                flash_.flash.undo(after);
                if (!wrong.empty()) {
                    flash_.flash.undo(before);
                    return fmt::format("the start cut in operation {}: {}", cut, wrong);
                }
            }
            flash_.flash.undo(before);
        }
    }

    /// Holds the reader of dumps against the model, right after every record was put.
    std::string wrong_by_dump(const HeldData& contents) {
        const AreaLayout& layout = area_.to->layout;
        const FlashGeometry& geometry = layout.geometry;
        const AreaShape shape{geometry.ring_blocks, geometry.units_per_ring_block(), geometry.unit_bytes,
                              layout.check_bytes * 8, geometry.blank};
        const Decoded decoded = decode({shape, flash_.flash.image(), flash_.flash.faulting()});
        for (const Record* record : area_.to->records) {
            const auto held = contents.values.find(record->id);
            if (held == contents.values.end() || !held->second.back()) { continue; }
            const std::vector<uint8_t>* payload = decoded.find(record->id);
            if (payload == nullptr || *payload != *held->second.back()) {
                return fmt::format("the reader of dumps reads record {} otherwise", record->name);
            }
        }
        return {};
    }

    const ProductVersion& from_;
    const ProductVersion& to_;
    const AreaChange& area_;
    Start start_;
    const TrialOptions& options_;
    std::mt19937_64 random_;
    TrialFlash flash_;
    HeldData contents_;       ///< of the flash as filled
    uint64_t operations_ = 0; ///< of the migration, without a cut
    ForkingFlash::Mark base_{};
};

/// A torn entry may pass its check code by chance; with other contents it does not do so again at the same place.
bool fails_with_other_contents(const ProductVersion& from, const ProductVersion& to, const AreaChange& area,
                               Start start, const TrialOptions& options, uint64_t cut) {
    for (uint64_t more = 1; more <= 3; more++) {
        AreaRun other(from, to, area, start, options, options.seed + 1000 * more);
        ImageTrial unused;
        if (!other.prepare(unused).empty() || !other.without_cuts(unused).empty()) { return true; }
        if (other.with_cut(cut, unused).empty()) { return false; }
    }
    return true;
}

ImageTrial try_image(const ProductVersion& from, const ProductVersion& to, const AreaChange& area, Start start,
                     const TrialOptions& options) {
    ImageTrial out;
    AreaRun run(from, to, area, start, options, options.seed);
    out.failure = run.prepare(out);
    if (out.failure.empty()) { out.failure = run.without_cuts(out); }
    out.after_step = std::max<uint64_t>(1, (out.operations_after + options.after_max - 1) / options.after_max);
    const uint64_t end = out.operations + out.operations_after;
    for (uint64_t cut = 0; out.failure.empty() && cut < end; cut += cut < out.operations ? 1 : out.after_step) {
        const std::string wrong = run.with_cut(cut, out);
        if (wrong.empty()) { continue; }
        if (fails_with_other_contents(from, to, area, start, options, cut)) { out.failure = wrong; }
        out.by_chance += out.failure.empty() ? 1 : 0;
    }
    return out;
}

/// The other version's flash as this version's area finds it: the bytes at its place, blank where nothing was.
std::vector<uint8_t> flash_at(const ImageArea& place,
                              const std::vector<std::pair<uint64_t, std::vector<uint8_t>>>& old) {
    std::vector<uint8_t> out(place.layout.geometry.area_bytes(), place.layout.geometry.blank);
    for (const auto& [offset, bytes] : old) {
        for (size_t i = 0; i < bytes.size(); i++) {
            const uint64_t at = offset + i;
            if (at >= place.place.offset && at - place.place.offset < out.size()) {
                out[at - place.place.offset] = bytes[i];
            }
        }
    }
    return out;
}

/// The areas of `version` as its firmware leaves them after two turns, with their offsets in flash.
std::vector<std::pair<uint64_t, std::vector<uint8_t>>> filled(const ProductVersion& version, uint64_t seed) {
    std::vector<std::pair<uint64_t, std::vector<uint8_t>>> out;
    for (const ImageArea& area : version.plan.areas) {
        Flash flash(area.layout.geometry, {});
        FirmwareRun run(version, area, calls_of(flash));
        HeldData contents;
        std::mt19937_64 random(seed);
        (void)run.format();
        (void)run.save_all(contents, random);
        (void)run.turn(contents, random, 2);
        out.emplace_back(area.place.offset, flash.image());
    }
    return out;
}

/// What open makes of a flash that is not this version's.
AreaTrial observe(const ProductVersion& from, const ProductVersion& to, const ImageArea& area, uint64_t seed) {
    AreaTrial out;
    out.name = area.name;
    const std::vector<uint8_t> before = flash_at(area, filled(from, seed));
    Flash flash(area.layout.geometry, {});
    flash.load(before);
    FirmwareRun run(to, area, calls_of(flash));
    out.opened = run.open();
    out.untouched = flash.image() == before;
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
    return out;
}

} // namespace perdure
