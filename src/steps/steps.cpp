#include "steps/steps.hpp"

#include <algorithm>
#include <map>
#include <random>

#include <fmt/format.h>

#include "dump/decode.hpp"
#include "inspect/inspection.hpp"
#include "project/default_bytes.hpp"
#include "unit/unit.hpp"

namespace perdure {
namespace {

/// The kind of a unit as one letter; `label` is of an entry's first unit, or of the unit itself.
char kind_of(const UnitLabel& label) {
    switch (label.kind) {
    case UnitKind::blank:
        return 'b';
    case UnitKind::pad:
        return 'p';
    case UnitKind::stamp:
        return 's';
    case UnitKind::bad:
        return 'x';
    case UnitKind::unread:
        return 'u';
    case UnitKind::faulting:
        return 'f';
    case UnitKind::entry:
    case UnitKind::more:
        break;
    }
    if (label.state == "stands") { return 'c'; }
    if (label.state == "superseded") { return 'o'; }
    if (label.state == "void") { return 'v'; }
    if (label.state == "mark") { return 'm'; }
    if (label.state == "doubted") { return 'd'; }
    return label.kind == UnitKind::entry ? 'u' : 's'; // what goes on behind a stamp is its own
}

std::string_view word_of(perdure_status status) {
    switch (status) {
    case PERDURE_OK:
        return "done";
    case PERDURE_DEFAULT:
        return "nothing stored yet: the default";
    case PERDURE_BLANK:
        return "the area is blank";
    case PERDURE_FOREIGN:
        return "the area holds something else";
    case PERDURE_READ_ONLY:
        return "nothing can be stored";
    case PERDURE_BACKWARD:
        return "a total would go backward: nothing was stored";
    case PERDURE_FAULT:
        return "the flash failed";
    default:
        return "the configuration cannot work";
    }
}

class Player {
public:
    Player(const AreaLayout& layout, const std::vector<const Record*>& records, const OperationTimes& times)
        : layout_(layout), records_(records), times_(times),
          unit_(layout, records, FlashCosts{}), shape_{layout.geometry.ring_blocks,
                                                       layout.geometry.units_per_ring_block(),
                                                       layout.geometry.unit_bytes, layout.check_bytes * 8,
                                                       layout.geometry.blank},
          labels_(labels_of(records)) {
        for (const Record* record : records) { payloads_.push_back(default_payload(*record)); }
        stored_ = payloads_;
        unit_.format();
        shown_.said = "formatted";
    }

    /// Empty, or why the call cannot be made.
    std::string call(const StepCall& step, bool show) {
        if (off_ && step.kind != StepCall::Kind::start) { return "the power is off: only a start can follow"; }
        const bool puts = step.kind == StepCall::Kind::put || step.kind == StepCall::Kind::fill;
        if (puts && step.record >= records_.size()) { return "there is no such record"; }
        if (step.kind == StepCall::Kind::start) { power_up(step.draw); }
        if (show) { begin_to_show(); }
        if (step.cut_after) {
            unit_.flash().cut_after(*step.cut_after);
            cut_operation_ = uint64_t{*step.cut_after} + 1;
        }
        perform(step);
        if (unit_.flash().is_cut()) {
            off_ = true;
            if (puts) { in_flight_ = step.record; }
            shown_.said = "the power went";
        } else {
            unit_.flash().disarm();
            if (puts || step.kind == StepCall::Kind::service) { in_flight_.reset(); }
        }
        return {};
    }

    StepsShown show() {
        unit_.flash().record(nullptr);
        shown_.shape = shape_;
        shown_.off = off_;
        shown_.erases = unit_.flash().erases_per_block();
        make_frames();
        read_values();
        return std::move(shown_);
    }

private:
    void power_up(uint64_t draw) {
        std::mt19937_64 random(draw);
        if (off_) { unit_.flash().power_up(random); }
        off_ = false;
    }

    void begin_to_show() {
        before_ = unit_.flash().image();
        faulting_ = faulting();
        shown_.begin = step_units({shape_, before_, faulting_, nullptr}, records_);
        unit_.flash().record(&recording_);
    }

    [[nodiscard]] std::vector<uint8_t> faulting() const {
        const FlashGeometry& geometry = layout_.geometry;
        std::vector<uint8_t> out(geometry.area_bytes() / geometry.unit_bytes);
        std::vector<uint8_t> bytes(geometry.unit_bytes);
        for (size_t i = 0; i < out.size(); i++) {
            const auto address = static_cast<uint32_t>(i * geometry.unit_bytes);
            out[i] = unit_.flash().read(address, bytes.data(), geometry.unit_bytes) == FlashResult::fault ? 1 : 0;
        }
        return out;
    }

    void perform(const StepCall& step) {
        switch (step.kind) {
        case StepCall::Kind::put:
            shown_.said = word_of(put(step.record));
            break;
        case StepCall::Kind::fill:
            for (uint32_t i = 0; i < step.count && !unit_.flash().is_cut(); i++) {
                shown_.said = word_of(put(step.record));
                while (!unit_.flash().is_cut() && unit_.service()) {}
            }
            break;
        case StepCall::Kind::service:
            shown_.said = unit_.service() ? "there is more to do" : "nothing more to do";
            break;
        case StepCall::Kind::start:
            shown_.said = word_of(unit_.open());
            break;
        }
    }

    /// The next value of a record: totals grow by half their largest step, of others the first byte counts.
    perdure_status put(size_t index) {
        const Record& record = *records_[index];
        std::vector<uint8_t>& payload = payloads_[index];
        size_t at = 0;
        for (const Field& field : record.fields) {
            uint64_t carry = field.movement_max > 0 ? std::max<uint64_t>(1, field.movement_max / 2) : 1;
            for (uint32_t i = 0; i < field.bytes && carry > 0 && at + i < payload.size(); i++) {
                carry += payload[at + i];
                payload[at + i] = static_cast<uint8_t>(carry);
                carry >>= 8U;
            }
            at += field.bytes;
            if (field.movement_max == 0) { break; }
        }
        const auto place = static_cast<uint16_t>(index);
        const perdure_status status =
            record.has_log_entries() ? unit_.append(place, payload.data(), 1) : unit_.put(place, payload.data());
        if (status == PERDURE_OK && !unit_.flash().is_cut()) { stored_[index] = payload; }
        return status;
    }

    void make_frames() {
        const FlashGeometry& geometry = layout_.geometry;
        std::vector<uint8_t> bytes = before_;
        std::vector<uint8_t> torn(geometry.area_bytes() / geometry.unit_bytes);
        std::vector<StepUnit> last = shown_.begin;
        size_t programmed_at = 0;
        uint64_t operations = 0;
        for (const auto& each : recording_.operations) {
            if (each.kind != FlashRecording::Kind::read) { operations++; }
        }
        // Without power the store goes on trying until it gives up: nothing of that reaches the flash.
        if (off_) { operations = std::min(operations, cut_operation_); }
        uint64_t done = 0;
        for (const auto& each : recording_.operations) {
            if (each.kind == FlashRecording::Kind::read) {
                shown_.reads++;
                continue;
            }
            if (done++ == operations) { break; }
            const bool cut = off_ && done == operations;
            std::string what;
            if (each.kind == FlashRecording::Kind::program) {
                const uint32_t unit = each.address / geometry.unit_bytes;
                if (cut) { torn[unit] = 1; }
                std::copy_n(recording_.programmed.begin() + static_cast<ptrdiff_t>(programmed_at), each.bytes,
                            bytes.begin() + each.address);
                programmed_at += each.bytes;
                shown_.took_ms += times_.program_us / 1e3;
                what = fmt::format("{} unit {} of block {}", cut ? "the power goes while programming" : "programs",
                                   unit % geometry.units_per_ring_block(), unit / geometry.units_per_ring_block());
            } else {
                const uint32_t units = geometry.units_per_ring_block();
                const auto begin = static_cast<ptrdiff_t>(size_t{each.address} * geometry.ring_block_bytes());
                std::fill_n(bytes.begin() + begin, geometry.ring_block_bytes(), geometry.blank);
                const auto first = static_cast<ptrdiff_t>(size_t{each.address} * units);
                std::fill_n(torn.begin() + first, units, cut ? 1 : 0);
                if (!cut) { std::fill_n(faulting_.begin() + first, units, 0); }
                shown_.took_ms += times_.erase_ms * geometry.erase_blocks_per_ring_block;
                what = fmt::format("{} block {}", cut ? "the power goes while erasing" : "erases", each.address);
            }
            if (done > frames_max && done < operations) {
                shown_.left_out++;
                continue;
            }
            add_frame(std::move(what), bytes, torn, last);
        }
    }

    void add_frame(std::string what, const std::vector<uint8_t>& bytes, const std::vector<uint8_t>& torn,
                   std::vector<StepUnit>& last) {
        StepFrame& frame = shown_.frames.emplace_back();
        frame.what = std::move(what);
        std::vector<StepUnit> now = step_units({shape_, bytes, faulting_, nullptr}, records_, torn);
        for (uint32_t i = 0; i < now.size(); i++) {
            if (now[i] != last[i]) { frame.changed.emplace_back(i, now[i]); }
        }
        last = std::move(now);
    }

    void read_values() {
        for (size_t i = 0; i < records_.size(); i++) {
            StepValue& value = shown_.values.emplace_back();
            value.record = records_[i]->name;
            if (off_) { continue; }
            const auto place = static_cast<uint16_t>(i);
            if (records_[i]->has_log_entries()) {
                value.text = fmt::format("next sample is number {}", unit_.log_next(place));
                continue;
            }
            std::vector<uint8_t> now(unit_.payload_bytes(place));
            const perdure_status status = unit_.get(place, now.data());
            value.text =
                status == PERDURE_OK ? payload_text(records_[i]->id, now, labels_) : std::string(word_of(status));
            if (in_flight_ == i) {
                value.remark = now == payloads_[i] ? "as put"
                               : now == stored_[i] ? "as before the put"
                                                   : "NEITHER as before nor as put";
            }
        }
    }

    AreaLayout layout_;
    std::vector<const Record*> records_;
    OperationTimes times_;
    Unit unit_;
    AreaShape shape_;
    RecordLabels labels_;
    FlashRecording recording_;
    std::vector<uint8_t> before_, faulting_;
    std::vector<std::vector<uint8_t>> payloads_; ///< last put
    std::vector<std::vector<uint8_t>> stored_;   ///< last put that returned
    std::optional<size_t> in_flight_;            ///< the record whose put the power went in
    bool off_ = false;
    uint64_t cut_operation_ = 0; ///< of the call that the power went in: which program or erase, from 1
    StepsShown shown_;
};

/// The project's own ring, or the smallest that takes its records where that is too large to be seen whole.
tl::expected<AreaLayout, Refusal> shown_layout(const Project& project, const Area& area, const AreaLayout& own,
                                               bool& smaller) {
    const auto units = [](const AreaLayout& layout) {
        return layout.geometry.ring_blocks * layout.geometry.units_per_ring_block();
    };
    smaller = false;
    if (units(own) <= shown_units_max) { return own; }
    for (uint32_t blocks = 2; blocks < own.geometry.ring_blocks; blocks++) {
        const auto layout = lay_out(project, area, blocks);
        if (!layout) { continue; }
        smaller = true;
        return layout;
    }
    return own;
}

} // namespace

std::vector<StepUnit> step_units(const AreaView& view, const std::vector<const Record*>& records,
                                 const std::vector<uint8_t>& torn) {
    const Decoded decoded = decode(view);
    const std::vector<UnitLabel> units = label_units(view, decoded, labels_of(records));
    std::vector<StepUnit> out(units.size());
    UnitLabel first;
    for (size_t i = 0; i < units.size(); i++) {
        const bool more = units[i].kind == UnitKind::more;
        if (!more) { first = units[i]; }
        out[i].kind = kind_of(more ? UnitLabel{UnitKind::more, first.state, ""} : first);
        if (!more) { out[i].text = first.text; }
        if (!torn.empty() && torn[i] != 0) { out[i] = {'t', -1, "the power went here: what it reads is open"}; }
    }
    std::map<uint32_t, int> place;
    for (size_t i = 0; i < records.size(); i++) { place[records[i]->id] = static_cast<int>(i); }
    const auto colour = [&](const DumpEntry& entry) {
        const auto of = entry.id ? place.find(*entry.id) : place.end();
        if (of == place.end()) { return; }
        const size_t begin = size_t{entry.block} * view.shape.block_units + entry.unit;
        for (size_t i = begin; i < std::min(begin + entry.units, out.size()); i++) {
            if (out[i].kind != 't') { out[i].record = of->second; }
        }
    };
    for (const DumpEntry& entry : decoded.entries) { colour(entry); }
    for (const DumpEntry& entry : decoded.doubted) { colour(entry); }
    return out;
}

tl::expected<StepsShown, Refusal> play_steps(const Project& project, const std::string& area, uint32_t blocks,
                                             const std::vector<StepCall>& script) {
    const auto of =
        std::find_if(project.areas.begin(), project.areas.end(), [&](const Area& each) { return each.name == area; });
    if (of == project.areas.end()) { return tl::unexpected(Refusal{"there is no such area", 0, 0, ""}); }
    std::optional<AreaLayout> own;
    if (of->size_bytes || blocks > 0) {
        const auto layout = blocks > 0 ? lay_out(project, *of, blocks) : lay_out_sized(project, *of);
        if (!layout) { return tl::unexpected(layout.error()); }
        own = *layout;
    } else {
        const auto budget = make_budget(project);
        if (!budget) { return tl::unexpected(budget.error()); }
        for (const AreaBudget& each : budget->areas) {
            if (each.name == area && each.laid_out) { own = each.layout; }
        }
        if (!own) { return tl::unexpected(Refusal{"the area cannot be laid out", 0, 0, ""}); }
    }
    bool smaller = false;
    const auto layout = shown_layout(project, *of, *own, smaller);
    if (!layout) { return tl::unexpected(layout.error()); }
    const auto times = operation_times(project.part);
    Player player(*layout, records_of(project, *of), times.value_or(OperationTimes{}));
    for (size_t i = 0; i < script.size(); i++) {
        const std::string wrong = player.call(script[i], i + 1 == script.size());
        if (!wrong.empty()) { return tl::unexpected(Refusal{fmt::format("call {}: {}", i + 1, wrong), 0, 0, ""}); }
    }
    StepsShown out = player.show();
    out.smaller_ring = smaller;
    return out;
}

} // namespace perdure
