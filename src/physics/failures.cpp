#include "physics/failures.hpp"

#include <cmath>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/lognormal.hpp>
#include <boost/math/distributions/weibull.hpp>

namespace perdure {

namespace {

double chi_square(double share, double freedom) {
    return boost::math::quantile(boost::math::chi_squared_distribution<double>(freedom), share);
}

} // namespace

double failing_share_upper(uint64_t units, uint64_t failures, double confidence) {
    if (failures >= units) { return 1; }
    const boost::math::beta_distribution<double> beta(double(failures) + 1, double(units - failures));
    return boost::math::quantile(beta, confidence);
}

double failing_share_lower(uint64_t units, uint64_t failures, double confidence) {
    if (failures == 0) { return 0; }
    const boost::math::beta_distribution<double> beta(double(failures), double(units - failures) + 1);
    return boost::math::quantile(beta, 1 - confidence);
}

double failing_share_upper_chi_square(uint64_t units, uint64_t failures, double confidence) {
    return chi_square(confidence, 2 * double(failures) + 2) / (2 * double(units));
}

uint64_t units_to_show(double share, double confidence) {
    return static_cast<uint64_t>(std::ceil(std::log1p(-confidence) / std::log1p(-share) * (1 - 1e-12)));
}

double failures_an_hour_upper(uint64_t failures, double hours, double confidence) {
    return chi_square(confidence, 2 * double(failures) + 2) / (2 * hours);
}

double failures_an_hour_lower(uint64_t failures, double hours, double confidence) {
    return failures == 0 ? 0 : chi_square(1 - confidence, 2 * double(failures)) / (2 * hours);
}

double failed_by(const LifeModel& model, double used) {
    if (used <= 0) { return 0; }
    if (model.law == LifeLaw::weibull) {
        return boost::math::cdf(boost::math::weibull_distribution<double>(model.shape, model.scale), used);
    }
    return boost::math::cdf(boost::math::lognormal_distribution<double>(std::log(model.scale), model.shape), used);
}

double used_when_failed(const LifeModel& model, double share) {
    if (model.law == LifeLaw::weibull) {
        return boost::math::quantile(boost::math::weibull_distribution<double>(model.shape, model.scale), share);
    }
    return boost::math::quantile(boost::math::lognormal_distribution<double>(std::log(model.scale), model.shape),
                                 share);
}

double failed_between(const LifeModel& model, double from, double to) {
    const double before = failed_by(model, from);
    return before >= 1 ? 1 : (failed_by(model, to) - before) / (1 - before);
}

double chance_of_too_few(uint32_t blocks, uint32_t spares, double block_share) {
    if (block_share <= 0) { return 0; }
    if (block_share >= 1) { return 1; }
    const boost::math::binomial_distribution<double> failing(double(blocks) + spares, block_share);
    return boost::math::cdf(boost::math::complement(failing, double(spares)));
}

std::optional<uint32_t> spares_needed(uint32_t blocks, double block_share, double share_max, uint32_t most) {
    for (uint32_t spares = 0; spares <= most; ++spares) {
        if (chance_of_too_few(blocks, spares, block_share) <= share_max) { return spares; }
    }
    return std::nullopt;
}

} // namespace perdure
