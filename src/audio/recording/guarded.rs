//! Decoders of other hands, which may stumble over a file that was made to
//! make them: that file is broken then, and all else goes on.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// What the work gives; `None` where it panicked. What it worked on must not be
/// used again then.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    keep_quiet_about_them();
    GUARDED.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(false);
    result.ok()
}

/// A panic on this thread is being waited for and will be told as what it is, a
/// broken file.
pub fn is_guarded() -> bool {
    GUARDED.get()
}

fn keep_quiet_about_them() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !is_guarded() {
                usual(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_within_is_an_answer_and_one_outside_stays_one() {
        assert_eq!(guarded(|| 1), Some(1));
        let none: Option<()> = guarded(|| panic!("of no concern"));
        assert_eq!(none, None);
        assert!(!is_guarded());
    }
}
