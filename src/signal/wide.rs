//! Runs the busiest loops in the widest vectors that the processor has.
//!
//! The same source is compiled twice: for every processor, and for those with
//! vectors of 256 bits and fused multiplication. Which of them runs is decided
//! once, so on one machine the same samples give the same numbers; between
//! machines they may differ in the last bits.

// What is not inlined is compiled for every processor.
#![allow(clippy::inline_always)]

/// A loop that is worth it. What it calls must be inlined as well.
pub trait Work {
    /// What comes of it.
    type Output;

    /// Does it; `FUSED` where the processor multiplies and adds in one step.
    fn run<const FUSED: bool>(self) -> Self::Output;
}

/// Does the work in the best way that this processor knows.
#[inline]
pub fn run<W: Work>(work: W) -> W::Output {
    #[cfg(test)]
    if tests::PLAINLY.get() {
        return work.run::<false>();
    }
    #[cfg(target_arch = "x86_64")]
    if let pulp::Arch::V3(simd) = pulp::Arch::new() {
        return pulp::Simd::vectorize(simd, Wide(work));
    }
    if cfg!(target_arch = "aarch64") {
        work.run::<true>()
    } else {
        work.run::<false>()
    }
}

#[cfg(target_arch = "x86_64")]
struct Wide<W>(W);

#[cfg(target_arch = "x86_64")]
impl<W: Work> pulp::WithSimd for Wide<W> {
    type Output = W::Output;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> W::Output {
        self.0.run::<true>()
    }
}

/// a b + c in single precision.
#[inline(always)]
pub fn madd<const FUSED: bool>(a: f32, b: f32, c: f32) -> f32 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// a b + c in double precision.
#[inline(always)]
pub fn madd_64<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use std::cell::Cell;

    thread_local! {
        pub(super) static PLAINLY: Cell<bool> = const { Cell::new(false) };
    }

    /// Does it without fused multiplication, whatever the processor can.
    pub(crate) fn plainly<T>(work: impl FnOnce() -> T) -> T {
        PLAINLY.set(true);
        let output = work();
        PLAINLY.set(false);
        output
    }

    struct Tells;

    impl Work for Tells {
        type Output = bool;

        fn run<const FUSED: bool>(self) -> bool {
            FUSED
        }
    }

    #[test]
    fn it_is_fused_where_the_processor_can_and_plain_where_that_was_asked_for() {
        #[cfg(target_arch = "x86_64")]
        assert_eq!(run(Tells), is_x86_feature_detected!("fma"));
        assert!(!plainly(|| run(Tells)));
    }
}
