//! What our threads hand things over with: atomics and queues between one
//! thread and one other.
//!
//! They stand in one place so that a build with `--cfg loom` can put others in
//! theirs, with which loom tries the orders in which the threads may take turns
//! (`tests/soundness.sh loom`). What hands over is the same code in both; the queue
//! of the library has a model in its place.

#[cfg(all(test, loom))]
mod modelled_queue;
mod place;
mod said;

pub use place::TapePlace;
pub use said::Said;

/// Atomics.
pub(super) mod atomic {
    #[cfg(all(test, loom))]
    pub use loom::sync::atomic::{AtomicBool, AtomicU64, Ordering};
    #[cfg(not(all(test, loom)))]
    pub use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
}

/// Queues, lock-free.
pub(super) mod queue {
    #[cfg(all(test, loom))]
    pub use super::modelled_queue::{
        Consumer, HeapCons, HeapProd, HeapRb, Observer, Producer, Split,
    };
    #[cfg(not(all(test, loom)))]
    pub use ringbuf::{
        HeapCons, HeapProd, HeapRb,
        traits::{Consumer, Observer, Producer, Split},
    };
}
