//! Follows one message from its beginning to its end, bit by bit.

use super::frame::{MOST_BITS, length_of};
use super::values::{Bit, Values};
use super::{SYNC_BITS, TONES_HZ, sync_bits};
use crate::signal::demodulator::turns_between;
use rustfft::num_complex::Complex64;

/// Values from look to look, some 5 ms.
pub(super) const HOP: usize = 10;

/// Speeds that are understood, as ratios.
pub(super) const SPEEDS: [f64; 2] = [0.72, 1.28];

/// The beginning is looked for in steps of a bit's part, at speeds beside that
/// of the lead.
const STEPS_A_BIT: f64 = 8.0;
const SPEEDS_BESIDE: [f64; 3] = [1.0, 0.985, 1.015];

/// How far back from the jump, in bits.
const LOOK_BACK_BITS: f64 = 2.0;

/// Bits of the beginning that must be right, and how clear they must be on
/// average.
const SYNC_RIGHT: usize = 21;
const SYNC_CLEAR: f64 = 0.4;

/// How much of what a bit says about speed and time is believed.
const SPEED_GAIN: f64 = 0.2;
const TIME_GAIN: f64 = 0.2;
const LEVEL_GAIN: f64 = 0.05;

/// Where a message may begin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    /// Beginning of the look that heard the jump.
    pub(super) at: u64,
    /// That of the lead, as a ratio.
    pub(super) speed: f64,
}

impl Start {
    /// By when a beginning here is there wholly.
    pub(super) fn ready_at(&self, values: &Values) -> f64 {
        let slowest = values.bit_length(self.speed * SPEEDS_BESIDE[1]);
        self.at as f64 + HOP as f64 + (SYNC_BITS as f64 + 1.0) * slowest
    }
}

/// A message that is being heard.
#[derive(Clone, Debug)]
pub(super) struct Message {
    pub(super) began: f64,
    /// Where the next bit begins.
    pub(super) at: f64,
    pub(super) speed: f64,
    /// What is known of its bits, −1 to 1.
    pub(super) bits: Vec<f64>,
    /// Magnitudes of the tones, a value.
    levels: [f64; 2],
    /// The bit before, and its tone.
    last: Option<(Bit, usize)>,
}

impl Message {
    /// Where the beginning fits best, if anywhere.
    pub(super) fn begun(values: &Values, start: Start) -> Option<Self> {
        let mut best: Option<(f64, Self)> = None;
        for beside in SPEEDS_BESIDE {
            let speed = start.speed * beside;
            let bit = values.bit_length(speed);
            let from = start.at as f64 - LOOK_BACK_BITS * bit;
            let steps = (LOOK_BACK_BITS + HOP as f64 / bit) * STEPS_A_BIT;
            for step in 0..=steps as usize {
                let at = from + step as f64 * bit / STEPS_A_BIT;
                let tried = Self::at_beginning(values, at, speed);
                if let Some(tried) = tried
                    && best.as_ref().is_none_or(|best| tried.0 > best.0)
                {
                    best = Some(tried);
                }
            }
        }
        best.map(|(_, message)| message)
    }

    /// How clear the beginning is here, if it is one.
    fn at_beginning(values: &Values, at: f64, speed: f64) -> Option<(f64, Self)> {
        let length = values.bit_length(speed);
        let (mut right, mut clear) = (0, 0.0);
        let mut levels = [(0.0, 0.0); 2];
        let mut last = None;
        for (number, wanted) in sync_bits().enumerate() {
            let bit = values.bit(at + number as f64 * length, speed);
            let says = if wanted { bit.says() } else { -bit.says() };
            right += usize::from(says > 0.0);
            clear += says / SYNC_BITS as f64;
            // As many wrong as may be: no more will come right.
            if number + 1 - right > SYNC_BITS - SYNC_RIGHT {
                return None;
            }
            let tone = usize::from(wanted);
            levels[tone].0 += bit.power(tone).sqrt() / length;
            levels[tone].1 += 1.0;
            last = Some((bit, tone));
        }
        (clear >= SYNC_CLEAR).then(|| {
            let message = Self {
                began: at,
                at: at + SYNC_BITS as f64 * length,
                speed,
                bits: Vec::with_capacity(MOST_BITS),
                levels: levels.map(|(sum, count)| sum / count),
                last,
            };
            (clear, message)
        })
    }

    pub(super) fn has_next(&self, end: f64, values: &Values) -> bool {
        self.at + values.bit_length(self.speed) <= end
    }

    pub(super) fn is_whole(&self) -> bool {
        let bits = self.bits.len();
        bits >= 8 && bits >= length_of(&decided(&self.bits)).unwrap_or(MOST_BITS)
    }

    /// The next bit, and what it says about speed and time.
    pub(super) fn take_bit(&mut self, values: &Values) {
        let length = values.bit_length(self.speed);
        let bit = values.bit(self.at, self.speed);
        let says = bit.says();
        let tone = usize::from(says > 0.0);
        let sure = says.abs();
        self.bits.push(says);
        self.at += length + self.late(&bit, tone, sure) * length;
        self.last = Some((bit, tone));
        // The tone's turn from one half to the other is what it is off by.
        let [one, other] = bit.0[tone];
        let off_hz = turns_between(one, other) / (length / 2.0) * values.rate_hz;
        let off = off_hz / (TONES_HZ[tone] * self.speed);
        self.speed *= 1.0 + SPEED_GAIN * sure * off.clamp(-0.05, 0.05);
        self.speed = self.speed.clamp(SPEEDS[0], SPEEDS[1]);
        let level = bit.power(tone).sqrt() / length;
        self.levels[tone] += LEVEL_GAIN * sure * (level - self.levels[tone]);
    }

    /// By which part of a bit the edge before this bit lies late, so far as
    /// that is believed. Where the edge lies late, this bit's tone is missing
    /// from its first half; where it lies early, the last one's tone is missing
    /// from its second half.
    fn late(&self, bit: &Bit, tone: usize, sure: f64) -> f64 {
        let Some((last, before)) = self.last else {
            return 0.0;
        };
        if before == tone {
            return 0.0;
        }
        let level =
            |half: Complex64, tone: usize| half.norm() / self.levels[tone].max(f64::MIN_POSITIVE);
        let [left, right] = [
            level(last.0[before][1], before),
            level(bit.0[tone][0], tone),
        ];
        // Both are of half a bit, in values; 1 is all of it.
        let late = (left - right) / (left + right + f64::MIN_POSITIVE);
        TIME_GAIN * sure * 0.5 * late.clamp(-0.5, 0.5)
    }
}

/// Bits by the sign of what is known of them.
pub(super) fn decided(bits: &[f64]) -> Vec<bool> {
    bits.iter().map(|bit| *bit > 0.0).collect()
}
