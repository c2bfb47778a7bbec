//! Five hundred kills at moments by chance cost nothing that the screen had said
//! is saved, and at most a second of a log.

use crate::support::kills::kill_them;

const KILLS: usize = 500;

/// Programs that are waited for rather than worked by: two cores do.
const AT_ONCE: usize = 8;

const SEED: u64 = 0x500;

#[test]
fn nothing_that_was_acknowledged_is_lost() {
    let counts = kill_them(KILLS, AT_ONCE, SEED);
    println!("{counts}");
    counts.assert_nothing_lost();
    assert!(counts.kills >= KILLS && counts.wipers > 0, "{counts}");
}
