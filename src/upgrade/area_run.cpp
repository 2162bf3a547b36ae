#include "upgrade/area_run.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "dump/decode.hpp"

namespace perdure {
namespace {

/// What a firmware does after an update: its conversions, then the saves of ordinary life.
std::string migrate(FirmwareRun& now, HeldData& contents, std::mt19937_64& random) {
    std::string wrong = now.convert(contents);
    if (wrong.empty()) { wrong = now.save_all(contents, random); }
    if (wrong.empty()) { now.service(); }
    return wrong;
}

/// A log as the reader of dumps reads it, held against the model.
bool same_log(const Decoded& decoded, uint16_t id, const HeldLog& held) {
    const auto record =
        std::ranges::find_if(decoded.records, [&](const DumpRecord& one) { return one.present && one.id == id; });
    if (record == decoded.records.end() || record->log_next != held.next) { return false; }
    std::vector<ReleaseStore::Sample> read;
    for (const DumpEntry* entry : decoded.log_entries(id)) {
        const size_t bytes = entry->payload.size() / entry->log->count;
        for (uint32_t i = 0; i < entry->log->count; i++) {
            const auto sample = entry->payload.subspan(i * bytes, bytes);
            read.push_back({entry->log->number + i, {sample.begin(), sample.end()}});
        }
    }
    return read.size() <= held.samples.size() && !read.empty() &&
           std::equal(read.rbegin(), read.rend(), held.samples.rbegin());
}

} // namespace

std::string AreaRun::broken_rule() const {
    const std::string& breach = flash_.flash.breach();
    return breach.empty() ? std::string() : fmt::format("against the part's rules: {}", breach);
}

std::string AreaRun::open(FirmwareRun& run) {
    const uint64_t before = flash_.operations;
    const release_status opened = run.open();
    if (opened != RELEASE_OK) { return fmt::format("open gives {}", name_of(opened)); }
    return run.lazy() && flash_.operations != before ? "a lazy start programs or erases" : "";
}

std::string AreaRun::use(FirmwareRun& old, ImageTrial& out) {
    const bool sets_aside = start_ == Start::worn && area_.from->layout.geometry.ring_blocks >= 4;
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
        turns = sets_aside ? 3 : 12;
        out.name = "worn";
        out.text = sets_aside ? "3 turns, a block whose erase fails set aside" : "12 turns";
        break;
    }
    if (sets_aside) {
        CutDevice device = flash_.flash.device();
        device.failing_block = 1;
        device.failing_erase = true;
        flash_.flash.set_device(device);
    }
    std::string wrong = turns != 0 ? old.turn(contents_, random_, turns) : "";
    if (wrong.empty() && sets_aside && old.store().blocks_bad() == 0) { wrong = "no block was set aside"; }
    return wrong;
}

std::string AreaRun::end_by_save(FirmwareRun& old) {
    constexpr uint64_t operation = 1; // of the put that it interrupts
    std::string wrong;
    flash_.power();
    flash_.fail_at(operation, SupplyFails::behind, 0, [&] { wrong = old.supply_fails(contents_, random_); });
    (void)old.save_one(contents_, random_);
    const bool failed = flash_.failed;
    flash_.power();
    // A put of one program is over by then.
    return wrong.empty() && !failed ? old.supply_fails(contents_, random_) : wrong;
}

std::string AreaRun::prepare(ImageTrial& out) {
    FirmwareRun old(from_, *area_.from, flash_.calls());
    if (old.format() != RELEASE_OK) { return "the earlier firmware cannot format"; }
    std::string wrong = old.save_all(contents_, random_);
    if (wrong.empty()) { wrong = use(old, out); }
    uint64_t read = 0;
    if (wrong.empty()) { wrong = wrong_in(old.store(), contents_, read); }
    if (wrong.empty() && old.saves_at_power_fail()) {
        wrong = end_by_save(old);
        out.text += "; then the supply failed in a put, and a record was saved";
    }
    flash_.flash.forget_marks();
    base_ = flash_.flash.mark();
    return wrong.empty() ? broken_rule() : fmt::format("filling it by {}: {}", from_.name, wrong);
}

std::string AreaRun::without_cuts(ImageTrial& out) {
    HeldData contents = contents_;
    std::mt19937_64 random = random_;
    flash_.power();
    {
        FirmwareRun now(to_, *area_.to, flash_.calls());
        std::string wrong = open(now);
        if (!wrong.empty()) { return wrong; }
        opening_ = flash_.operations;
        contents.opened_by(area_.to->records);
        wrong = wrong_in(now.store(), contents, out.records_read);
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

std::string AreaRun::with_cut(uint64_t cut, ImageTrial& out) {
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
    const uint64_t ways = flash_.flash.ways_to_read();
    const uint64_t count = std::min<uint64_t>(ways, options_.ways_max);
    for (uint64_t i = 0; i < count; i++) {
        const uint64_t way = i * (ways / count);
        out.ways++;
        std::string wrong = resume_both(way, contents, out);
        if (wrong.empty() && cut < operations_ && i < options_.nested_ways_max) {
            wrong = cut_start(way, contents, out);
        }
        if (!wrong.empty()) { return fmt::format("cut in operation {}, then {}", cut, wrong); }
    }
    return {};
}

std::string AreaRun::with_saves(uint64_t at, ImageTrial& out) {
    const FirmwareRun now(to_, *area_.to, flash_.calls());
    if (!now.saves_at_power_fail() || at < opening_) { return {}; }
    struct Moment {
        SupplyFails when;
        uint64_t way;
    };
    // Where a lazy start's work is still owed the save is refused and the call goes on, so nothing may be torn there.
    std::vector<Moment> moments{{SupplyFails::before, 0}, {SupplyFails::behind, 0}};
    if (!now.lazy()) { moments.insert(moments.end(), {{SupplyFails::torn, 0}, {SupplyFails::torn, 3}}); }
    for (const Moment& moment : moments) {
        std::string wrong = with_save(at, moment.when, moment.way, out);
        if (!wrong.empty()) { return fmt::format("the supply fails at operation {}: {}", at, wrong); }
    }
    return {};
}

std::string AreaRun::with_save(uint64_t at, SupplyFails when, uint64_t way, ImageTrial& out) {
    wind_back();
    HeldData contents = contents_;
    std::mt19937_64 random = random_;
    std::string wrong;
    bool saved = false;
    flash_.power();
    {
        FirmwareRun now(to_, *area_.to, flash_.calls());
        flash_.fail_at(at, when, way, [&] {
            const uint64_t puts = contents.puts;
            wrong = now.supply_fails(contents, random);
            saved = contents.puts != puts;
        });
        if (now.open() == RELEASE_OK) {
            contents.opened_by(area_.to->records);
            if (migrate(now, contents, random).empty()) { (void)now.go_on(contents, random, 1); }
        }
    }
    const bool failed = flash_.failed;
    flash_.power();
    if (!failed) { return "the migration asks for fewer operations than without a cut"; }
    if (!wrong.empty() || !saved) { return wrong; } // refused before the start was done: no save to look at
    out.saves++;
    const uint64_t ways = flash_.flash.ways_to_read();
    constexpr uint64_t ways_max = 4;
    const uint64_t count = std::min(ways, ways_max);
    for (uint64_t i = 0; i < count && wrong.empty(); i++) { wrong = resume_both(i * (ways / count), contents, out); }
    return wrong;
}

std::string AreaRun::visit(const ProductVersion& version, const ImageArea& area, HeldData& contents,
                           std::mt19937_64& random, ImageTrial& out) {
    FirmwareRun run(version, area, flash_.calls());
    std::string wrong = open(run);
    contents.opened_by(area.records);
    if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
    if (wrong.empty()) { wrong = run.convert(contents); }
    if (wrong.empty()) { wrong = run.save_all(contents, random); }
    if (wrong.empty()) { wrong = run.turn(contents, random, 1); }
    if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
    if (!wrong.empty() || !run.saves_at_power_fail()) { return wrong; }
    return run.supply_fails(contents, random); // so it is left as the supply leaves it
}

std::string AreaRun::resume(const ProductVersion& version, const ImageArea& area, HeldData contents, ImageTrial& out) {
    out.starts++;
    flash_.power();
    FirmwareRun run(version, area, flash_.calls());
    std::string wrong = open(run);
    contents.opened_by(area.records);
    std::mt19937_64 random = random_;
    if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
    if (wrong.empty()) { wrong = run.convert(contents); }
    if (wrong.empty()) { wrong = run.save_all(contents, random); }
    if (wrong.empty()) { wrong = wrong_in(run.store(), contents, out.records_read); }
    if (wrong.empty()) { wrong = broken_rule(); }
    return wrong.empty() ? wrong : fmt::format("{}: {}", version.name, wrong);
}

std::string AreaRun::resume_both(uint64_t way, const HeldData& contents, ImageTrial& out) {
    const ForkingFlash::Mark before = flash_.flash.mark();
    flash_.flash.power_up(way);
    const std::string seen = flash_.flash.readings();
    std::string wrong = resume(to_, *area_.to, contents, out);
    flash_.flash.undo(before);
    if (wrong.empty()) {
        flash_.flash.power_up(way);
        wrong = resume(from_, *area_.from, contents, out);
        flash_.flash.undo(before);
    }
    return wrong.empty() ? wrong : fmt::format("read as {}: {}", seen, wrong);
}

std::string AreaRun::cut_start(uint64_t way, const HeldData& contents, ImageTrial& out) {
    const ForkingFlash::Mark before = flash_.flash.mark();
    for (uint64_t cut = 0;; cut++) {
        HeldData then = contents;
        flash_.flash.power_up(way);
        flash_.power(cut);
        {
            FirmwareRun run(to_, *area_.to, flash_.calls());
            std::mt19937_64 random = random_;
            if (run.open() == RELEASE_OK && run.lazy()) { (void)run.save_one(then, random); }
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
            std::string wrong = resume(to_, *area_.to, then, out);
            flash_.flash.undo(after);
            if (!wrong.empty()) {
                flash_.flash.undo(before);
                return fmt::format("the start cut in operation {}: {}", cut, wrong);
            }
        }
        flash_.flash.undo(before);
    }
}

std::string AreaRun::wrong_by_dump(const HeldData& contents) {
    const AreaLayout& layout = area_.to->layout;
    const FlashGeometry& geometry = layout.geometry;
    const AreaShape shape{geometry.ring_blocks, geometry.units_per_ring_block(), geometry.unit_bytes,
                          layout.check_bytes * 8, geometry.blank};
    const Decoded decoded = decode({shape, flash_.flash.image(), flash_.flash.faulting()});
    for (const Record* record : area_.to->records) {
        if (const auto log = contents.logs.find(record->id); log != contents.logs.end()) {
            if (!same_log(decoded, record->id, log->second)) {
                return fmt::format("the reader of dumps reads log {} otherwise", record->name);
            }
            continue;
        }
        const auto held = contents.values.find(record->id);
        if (held == contents.values.end() || !held->second.back()) { continue; }
        const std::vector<uint8_t>* payload = decoded.find(record->id);
        if (payload == nullptr || *payload != *held->second.back()) {
            return fmt::format("the reader of dumps reads record {} otherwise", record->name);
        }
    }
    return {};
}

} // namespace perdure
