"""The arithmetic of judgement, as folds over recorded samples.

Every family is one file with the same shape:

    start(params) → state
    step(state, t, dt, sample) → state
    result(state) → result
    over(state, before, time, ...) → state        the loop over arrays of samples

`t` [s] is the sample's time, `dt` [s] the time since the sample before it, 0 at the first.
Between samples a signal is a straight line: integrals are trapezoids and crossing times are
interpolated. What happens between two samples and is gone at both is not seen.

A state is all that a fold knows: stopping after any sample and going on from the state gives the
same bits as one pass. Arrays inside a state are written in place, so a state has one heir.
Compiled and interpreted runs give the same bits.
"""

from simfan.compiled import use_own_cache

use_own_cache()
