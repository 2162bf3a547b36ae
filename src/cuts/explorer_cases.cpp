// What the table of outcomes counts: where the first cut fell, how what it hit then read, and what became of the record
// under way; the first case met of each; and a path that is played again, to be shown.
#include "cuts/explorer.hpp"

namespace perdure {

Outcome Explorer::outcome_of(const Level& l) const {
    std::optional<bool> is_new = model_.holds_new(l.values);
    if (!is_new && log_) { is_new = log_model_.holds_new(l.log); }
    if (!is_new) { return Outcome::nothing; }
    return *is_new ? Outcome::as_new : Outcome::as_before;
}

void Explorer::count_cell(const Level& l, unsigned hit) {
    const unsigned reading = first_cut_->second == CutOperation::between ? cut_readings - 1 : hit;
    const auto [call, operation] = *first_cut_;
    const Outcome outcome = outcome_of(l);
    Cell& cell = counts_.cells[static_cast<size_t>(call)][static_cast<size_t>(operation)][reading];
    if (cell.of(outcome)++ == 0) { cases_.push_back({call, operation, reading, outcome, path_}); }
}

/// The action with which the path begins comes now.
void Explorer::note_first_action() {
    if (search_.replay) { earlier_ = story_.size(); }
}

/// A start on the path is about to be run.
void Explorer::note_start() {
    if (!search_.replay) { return; }
    played_at_ = path_.size();
    played_ = PlayedCase{{}, earlier_, before_, flash_.image(), flash_.faulting(), Outcome::nothing};
    played_->story.assign(story_.begin() + static_cast<std::ptrdiff_t>(earlier_), story_.end());
}

/// That start has read all records, and nothing was wrong.
void Explorer::note_outcome(const Level& l) {
    if (played_ && played_at_ == path_.size()) { played_->outcome = outcome_of(l); }
}

SearchResult Explorer::result() {
    SearchResult result{counts_, complete_ && !failure_, share_, std::move(failure_), std::move(cases_), std::nullopt};
    const bool to_its_end = search_.replay && walked_ == search_.replay->size();
    if (to_its_end && !result.failure) { result.played = std::move(played_); }
    return result;
}

} // namespace perdure
