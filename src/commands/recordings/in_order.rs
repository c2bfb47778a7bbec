//! Work on many things at once whose results are taken one after the other, in
//! the order of the things.

use std::any::Any;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

/// Results that may wait for one before them: while the first thing takes its
/// time the others go on, and what they need stays bounded.
const MOST_WAITING: usize = 1000;

/// How often whoever waits may look about.
const LOOK: Duration = Duration::from_millis(100);

/// Who works on what.
struct Desk<T> {
    next: usize,
    taken: usize,
    waiting: BTreeMap<usize, Result<T, String>>,
    closed: bool,
}

/// The desk, and the bell that rings when something on it has changed.
struct Room<T> {
    desk: Mutex<Desk<T>>,
    changed: Condvar,
}

impl<T> Room<T> {
    /// No panic leaves the desk half changed.
    fn desk(&self) -> MutexGuard<'_, Desk<T>> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut Desk<T>)) {
        change(&mut self.desk());
        self.changed.notify_all();
    }

    /// What to work on next, once there is room for its result; `None` when
    /// there is nothing left to do.
    fn next(&self, count: usize) -> Option<usize> {
        let mut desk = self.desk();
        loop {
            if desk.closed || desk.next >= count {
                return None;
            }
            if desk.next < desk.taken + MOST_WAITING {
                desk.next += 1;
                return Some(desk.next - 1);
            }
            let waited = self.changed.wait(desk);
            desk = waited.unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// The result whose turn it is, if it comes soon.
    fn take(&self) -> Option<(usize, Result<T, String>)> {
        let mut desk = self.desk();
        let turn = desk.taken;
        if !desk.waiting.contains_key(&turn) {
            let waited = self.changed.wait_timeout(desk, LOOK);
            desk = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
        let result = desk.waiting.remove(&turn)?;
        desk.taken += 1;
        drop(desk);
        self.changed.notify_all();
        Some((turn, result))
    }
}

/// Nobody waits for a room that was left.
struct Close<'a, T>(&'a Room<T>);

impl<T> Drop for Close<'_, T> {
    fn drop(&mut self) {
        self.0.change(|desk| desk.closed = true);
    }
}

/// What a caller is given.
pub(super) enum Now<T> {
    /// The result of a thing, or what went wrong where the work on it panicked.
    Done(usize, Result<T, String>),
    /// Nothing yet.
    Waiting,
}

/// Works on `count` things, `threads` at a time, and hands their results to
/// `each` in order, as they come. An error of `each` ends it: `ended` is told so
/// before what is still worked on is waited for.
pub(super) fn in_order<T: Send, E>(
    count: usize,
    threads: usize,
    work: impl Fn(usize) -> T + Sync,
    mut each: impl FnMut(Now<T>) -> Result<(), E>,
    ended: impl FnOnce(&E),
) -> Result<(), E> {
    let room = Room {
        desk: Mutex::new(Desk {
            next: 0,
            taken: 0,
            waiting: BTreeMap::new(),
            closed: false,
        }),
        changed: Condvar::new(),
    };
    let labour = || {
        while let Some(at) = room.next(count) {
            // What was half done for this thing is used by no other.
            let result = catch_unwind(AssertUnwindSafe(|| work(at)));
            let result = result.map_err(|panic| what_it_said(&*panic));
            room.change(|desk| {
                desk.waiting.insert(at, result);
            });
        }
    };
    thread::scope(|scope| {
        let _close = Close(&room);
        for _ in 0..threads.clamp(1, count.max(1)) {
            scope.spawn(labour);
        }
        let mut taken = 0;
        let mut step = || {
            while taken < count {
                match room.take() {
                    Some((at, result)) => {
                        each(Now::Done(at, result))?;
                        taken += 1;
                    }
                    None => each(Now::Waiting)?,
                }
            }
            Ok(())
        };
        step().inspect_err(ended)
    })
}

fn what_it_said(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    text.or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "no reason given".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::convert::identity;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// Results in the order in which they were handed out.
    fn all(count: usize, threads: usize, work: impl Fn(usize) -> usize + Sync) -> Vec<String> {
        let mut taken = Vec::new();
        let each = |now| {
            if let Now::Done(at, result) = now {
                assert_eq!(at, taken.len());
                taken.push(result.map_or_else(identity, |it: usize| it.to_string()));
            }
            Ok(())
        };
        let ended: Result<(), ()> = in_order(count, threads, work, each, |()| ());
        assert_eq!(ended, Ok(()));
        taken
    }

    #[test]
    fn results_come_in_order_whoever_is_the_first() {
        for threads in [1, 2, 7, 100] {
            let slow_first = |at: usize| {
                thread::sleep(Duration::from_millis(20 * u64::from(at.is_multiple_of(5))));
                at * at
            };
            let expected: Vec<_> = (0..20).map(|at: usize| (at * at).to_string()).collect();
            assert_eq!(all(20, threads, slow_first), expected, "{threads} threads");
        }
        assert!(all(0, 3, |at| at).is_empty());
    }

    #[test]
    fn a_panic_is_the_result_of_one_thing_and_of_no_other() {
        let work = |at: usize| {
            assert_ne!(at, 3, "of three");
            at
        };
        let results = all(6, 2, work);
        assert!(results[3].contains("of three"), "{}", results[3]);
        assert_eq!((&*results[2], &*results[4], &*results[5]), ("2", "4", "5"));
    }

    #[test]
    fn a_slow_first_one_keeps_no_more_waiting_than_there_is_room_for() {
        let (begun, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let work = |at: usize| {
            begun.fetch_add(1, Ordering::SeqCst);
            if at == 0 {
                thread::sleep(Duration::from_millis(200));
                most.store(begun.load(Ordering::SeqCst), Ordering::SeqCst);
            }
            at
        };
        assert_eq!(all(3 * MOST_WAITING, 2, work).len(), 3 * MOST_WAITING);
        assert_eq!(most.load(Ordering::SeqCst), MOST_WAITING);
    }

    #[test]
    fn an_error_ends_it_with_work_left_undone() {
        let begun = AtomicUsize::new(0);
        let work = |_| begun.fetch_add(1, Ordering::SeqCst);
        let each = |now| match now {
            Now::Done(3, _) => Err("enough"),
            _ => Ok(()),
        };
        let mut told = false;
        let ended = in_order(100_000, 2, work, each, |_| told = true);
        assert_eq!((ended, told), (Err("enough"), true));
        assert!(begun.load(Ordering::SeqCst) < 10_000);
    }
}
