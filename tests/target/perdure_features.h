/* perdure_features.h - the store of the tests on target: the interrupt that saves is kept out as on a product. */
#ifndef PERDURE_FEATURES_H
#define PERDURE_FEATURES_H

#include "processor.h"

/* MASK_NOTHING: as if it had been forgotten, to see that the test notices. */
#ifndef MASK_NOTHING
#define PERDURE_MASK() const uint32_t interrupts_enabled = interrupts_off()
#define PERDURE_UNMASK() interrupts_back(interrupts_enabled)
#endif

#endif
