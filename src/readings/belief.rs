//! Is what was followed a test tone? A tone is followed at once, but believed
//! only when the evidence is in; what is refused leaves no trace in the
//! measurement. The limits are tuned; judged by `--bench refusal`.

use super::stretch::Stretch;
use crate::signal::piece::{Piece, Witness};
use crate::signal::tracker::Loss;
use crate::units::Hertz;

/// Length of a piece before anything of it is shown.
const SHOWN_FROM_S: f64 = 0.3;

/// How often the evidence is looked at while a tone is followed.
const LOOK_S: f64 = 0.05;

/// A tone that was believed for this long is one, whatever comes after it and
/// however little of the record it fills.
const SURE_AFTER_S: f64 = 8.0;

/// A tone fills at least this part of the record, or lasts this long.
const LEAST_PART: f64 = 0.15;
const LEAST_LENGTH_S: f64 = 3.0;

/// From its beginning to its end it is there for this part of the time.
const LEAST_PRESENCE: f64 = 0.75;

/// It holds this part of the energy of the record: a leader may hiss before
/// it, but not play music. A tone that lasts may follow an announcement.
const LEAST_ENERGY: f64 = 0.6;
const LEAST_ENERGY_LASTING: f64 = 0.4;
const LASTING_S: f64 = 4.0;

/// A tone that leaps more often than this, and in a shorter time than this
/// for each, is a melody.
const MOST_LEAPS: u32 = 1;
const LEAP_EVERY_S: f64 = 4.0;

/// From one piece to the next this is a leap.
const LEAP: f64 = 0.025;

/// What was measured before a piece that is not believed yet.
struct Before {
    whole: Stretch,
    nominal: Option<Hertz>,
    tone_energy: [f64; 2],
}

/// The pieces that were believed, put together.
#[derive(Clone, Debug, Default)]
struct Record {
    present_s: f64,
    longest_s: f64,
    span_s: Option<[f64; 2]>,
    last_hz: Option<f64>,
    leaps: u32,
}

impl Record {
    fn add(&mut self, piece: Piece, now_s: f64) {
        self.present_s += piece.present_s;
        self.longest_s = self.longest_s.max(piece.length_s);
        let to = now_s - piece.silent_s;
        let from = self.span_s.map_or(to - piece.length_s, |span| span[0]);
        self.span_s = Some([from, to]);
        if let Some((last, first)) = self.last_hz.zip(piece.first_hz) {
            self.leaps += u32::from((first / last - 1.0).abs() > LEAP);
        }
        self.last_hz = piece.last_hz;
        self.leaps += piece.leaps;
    }

    fn is_a_tone(&self, duration_s: f64, energy_part: f64) -> bool {
        let Some([from, to]) = self.span_s else {
            return false;
        };
        let leaps =
            self.leaps > MOST_LEAPS && f64::from(self.leaps) * LEAP_EVERY_S > self.present_s;
        if leaps {
            return false;
        }
        if self.longest_s >= SURE_AFTER_S {
            return true;
        }
        let least_energy = if self.longest_s >= LASTING_S {
            LEAST_ENERGY_LASTING
        } else {
            LEAST_ENERGY
        };
        self.present_s >= (LEAST_PART * duration_s).min(LEAST_LENGTH_S)
            && self.present_s >= LEAST_PRESENCE * (to - from)
            && energy_part >= least_energy
    }
}

/// See the module.
pub struct Belief {
    tick_s: f64,
    ticks: u64,
    until_look: u64,
    record: Record,
    before: Option<Box<Before>>,
    /// The piece that is followed now is shown.
    shown: bool,
    /// It was believed for longer than [`SURE_AFTER_S`]: nothing changes that.
    sure: bool,
    tone_energy: [f64; 2],
}

impl Belief {
    /// Nothing heard yet; for ticks of this length.
    pub fn new(tick_s: f64) -> Self {
        Self {
            tick_s,
            ticks: 0,
            until_look: 0,
            record: Record::default(),
            before: None,
            shown: false,
            sure: false,
            tone_energy: [0.0; 2],
        }
    }

    /// Time passes.
    pub fn tick(&mut self) {
        self.ticks += 1;
    }

    fn now_s(&self) -> f64 {
        self.ticks as f64 * self.tick_s
    }

    /// A piece begins: what is known so far is put by.
    pub fn begin(&mut self, whole: &Stretch, nominal: Option<Hertz>) {
        self.before = Some(Box::new(Before {
            whole: whole.clone(),
            nominal,
            tone_energy: self.tone_energy,
        }));
        self.shown = false;
        self.sure = false;
        self.until_look = 0;
    }

    /// The user has chosen a tone: it stays chosen.
    pub fn chosen(&mut self, nominal: Option<Hertz>) {
        if let Some(before) = &mut self.before {
            before.nominal = nominal;
        }
    }

    /// The power of the tone in each channel that is used, for one tick.
    pub fn heard(&mut self, power: [f64; 2]) {
        for (sum, power) in self.tone_energy.iter_mut().zip(power) {
            *sum += power * self.tick_s;
        }
    }

    /// True when the piece that is followed may be shown as a tone. To be
    /// asked with every tick.
    pub fn look(&mut self, piece: &dyn Witness) -> bool {
        self.until_look = self.until_look.saturating_sub(1);
        if self.until_look == 0 {
            self.until_look = (LOOK_S / self.tick_s) as u64;
            let length_s = piece.piece().length_s;
            self.shown = length_s >= SHOWN_FROM_S && !piece.is_doubted();
            self.sure |= self.shown && length_s >= SURE_AFTER_S;
        }
        self.shown
    }

    fn is_refused(&self, piece: &dyn Witness, loss: Loss) -> bool {
        let by_its_end = match loss {
            Loss::Gone => false,
            Loss::LeftRange => piece.was_on_its_way(),
            Loss::Mistaken => true,
        };
        !self.sure && (piece.is_doubted() || by_its_end)
    }

    /// The piece has ended. What was put by is given back, with the tone that
    /// was taken as nominal, if the piece is refused.
    pub fn end(&mut self, piece: &dyn Witness, loss: Loss) -> Option<(Stretch, Option<Hertz>)> {
        self.shown = false;
        let before = self.before.take()?;
        if self.is_refused(piece, loss) {
            self.tone_energy = before.tone_energy;
            return Some((before.whole, before.nominal));
        }
        self.record.add(piece.piece(), self.now_s());
        None
    }

    /// True when all that was heard in `duration_s` makes a tone, and what it
    /// was measured from if the piece that is followed must be left out.
    pub fn verdict(
        &self,
        piece: Option<&dyn Witness>,
        duration_s: f64,
        energy: [f64; 2],
    ) -> (bool, Option<&Stretch>) {
        let mut record = self.record.clone();
        let mut tone_energy = self.tone_energy;
        let mut instead = None;
        if let Some((before, piece)) = self.before.as_ref().zip(piece) {
            if self.is_refused(piece, Loss::Gone) {
                instead = Some(&before.whole);
                tone_energy = before.tone_energy;
            } else {
                record.add(piece.piece(), self.now_s());
            }
        }
        let part = tone_energy
            .iter()
            .zip(energy)
            .filter(|(_, energy)| *energy > 0.0)
            .map(|(tone, energy)| tone / energy)
            .fold(0.0, f64::max);
        (record.is_a_tone(duration_s, part), instead)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(present_s: f64, leaps: u32) -> Record {
        Record {
            present_s,
            longest_s: present_s,
            span_s: Some([0.0, present_s]),
            last_hz: Some(3150.0),
            leaps,
        }
    }

    #[test]
    fn a_tone_fills_its_record_or_lasts() {
        assert!(record(1.0, 0).is_a_tone(1.2, 0.99));
        assert!(record(3.0, 0).is_a_tone(60.0, 0.99));
        // One note of a tune.
        assert!(!record(1.0, 0).is_a_tone(10.0, 0.99));
        assert!(!Record::default().is_a_tone(10.0, 0.99));
    }

    #[test]
    fn little_of_the_energy_is_a_note_unless_it_lasts() {
        assert!(!record(2.0, 0).is_a_tone(4.0, 0.5));
        assert!(record(5.0, 0).is_a_tone(10.0, 0.5));
        assert!(!record(5.0, 0).is_a_tone(10.0, 0.3));
        // Behind a long announcement.
        assert!(record(SURE_AFTER_S, 0).is_a_tone(60.0, 0.1));
    }

    #[test]
    fn one_leap_is_a_step_of_the_speed_and_several_are_a_melody() {
        assert!(record(3.0, 1).is_a_tone(3.0, 0.99));
        assert!(!record(3.0, 2).is_a_tone(3.0, 0.99));
        assert!(record(12.0, 2).is_a_tone(12.0, 0.99));
        assert!(!record(12.0, 9).is_a_tone(12.0, 0.99));
    }

    #[test]
    fn bursts_with_long_pauses_are_no_tone() {
        let mut bursts = record(2.0, 0);
        bursts.longest_s = 0.5;
        bursts.span_s = Some([0.0, 4.0]);
        assert!(!bursts.is_a_tone(4.0, 0.99));
    }
}
