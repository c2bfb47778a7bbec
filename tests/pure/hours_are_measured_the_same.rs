//! A long sitting: every sample is counted, figures stay what they are, and what
//! came before leaves nothing behind. `forty_eight_hours_of_tape` in `tests/long`
//! does the same for two days, and watches memory.

use crate::support::hours;

#[test]
fn minutes_without_a_break_through_ring_and_log() {
    let played = hours::played(1, 4);
    hours::steady(&played);
}

#[test]
fn the_same_stretch_reads_the_same_again_and_again() {
    hours::repeated(20 * hours::STRETCH_S).check();
}
