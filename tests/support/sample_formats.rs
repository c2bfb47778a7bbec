//! Samples of a known size in every format that the callbacks are handed.

use std::fmt::Debug;

use cpal::{FromSample, I24, U24};
use tapewright::audio::callback::Delivered;

/// Calls what is generic over the type of a sample with that of a format. A
/// format that has no line here has no test yet.
macro_rules! by_format {
    ($format:expr, $call:ident($($argument:expr),*)) => {
        match $format {
            cpal::SampleFormat::F32 => $call::<f32>($($argument),*),
            cpal::SampleFormat::F64 => $call::<f64>($($argument),*),
            cpal::SampleFormat::I8 => $call::<i8>($($argument),*),
            cpal::SampleFormat::I16 => $call::<i16>($($argument),*),
            cpal::SampleFormat::I24 => $call::<cpal::I24>($($argument),*),
            cpal::SampleFormat::I32 => $call::<i32>($($argument),*),
            cpal::SampleFormat::U8 => $call::<u8>($($argument),*),
            cpal::SampleFormat::U16 => $call::<u16>($($argument),*),
            cpal::SampleFormat::U24 => $call::<cpal::U24>($($argument),*),
            cpal::SampleFormat::U32 => $call::<u32>($($argument),*),
            untried => panic!("{untried} is taken and never tried"),
        }
    };
}
pub(crate) use by_format;

/// A sample in steps from the middle of its range; of a float, in steps that
/// single precision holds all.
pub trait Steps: Delivered + FromSample<f32> + Debug + Send + Sync + 'static {
    /// Steps to full scale.
    const FULL: i64;
    fn at(step: i64) -> Self;
    fn step(self) -> f64;
}

macro_rules! in_steps {
    ($($sample:ty: $bits:literal, $sample_of:expr, $code_of:expr;)*) => {
        $(impl Steps for $sample {
            const FULL: i64 = 1 << ($bits - 1);
            fn at(step: i64) -> Self {
                $sample_of(step)
            }
            fn step(self) -> f64 {
                $code_of(self)
            }
        })*
    };
}

in_steps! {
    i8: 8, |step| step as i8, f64::from;
    i16: 16, |step| step as i16, f64::from;
    I24: 24, |step| I24::new(step as i32).expect("in range"), |it: I24| f64::from(it.inner());
    i32: 32, |step| step as i32, f64::from;
    u8: 8, |step| (step + Self::FULL) as u8, |it| f64::from(it) - Self::FULL as f64;
    u16: 16, |step| (step + Self::FULL) as u16, |it| f64::from(it) - Self::FULL as f64;
    U24: 24, |step| U24::new((step + Self::FULL) as i32).expect("in range"),
        |it: U24| f64::from(it.inner()) - Self::FULL as f64;
    u32: 32, |step| (step + Self::FULL) as u32, |it| f64::from(it) - Self::FULL as f64;
    f32: 24, |step| step as f32 / Self::FULL as f32, |it| f64::from(it) * Self::FULL as f64;
    f64: 24, |step| step as f64 / Self::FULL as f64, |it| it * Self::FULL as f64;
}
