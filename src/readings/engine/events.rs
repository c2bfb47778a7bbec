//! What the tracker reports, event by event, and what follows from it.

use super::Engine;
use super::steering::usual_ranges_hz;
use crate::readings::conditions::Nominal;
use crate::readings::digits::{Digits, Motion};
use crate::readings::guidance::Guide;
use crate::readings::health::{channels_disagree, tone_power};
use crate::readings::holding::HoldCheck;
use crate::readings::judge;
use crate::readings::stretch::Stretch;
use crate::readings::sweep::SweepRecorder;
use crate::readings::values::{ToneState, WrongTone};
use crate::signal::tracker::{Loss, MOST_CHANNELS, Track};
use crate::units::{Hertz, Seconds};

impl Engine {
    pub(super) fn take(&mut self, event: Track) {
        match event {
            Track::Found { hz } => self.found(hz),
            Track::Value(hz) => self.value(hz),
            Track::Pair(pair) => {
                if self.is_live {
                    let at_s = self.ticks_s();
                    self.channels.push(pair, at_s);
                }
                self.each_stretch(|stretch| stretch.channels.push(&pair));
            }
            Track::Dropout { start_s, length_s } => {
                let start = Seconds(start_s.max(0.0) + self.skipped_s);
                let length = Seconds(length_s);
                if self.whole.dropout(start, length) {
                    self.health.dropout();
                }
                self.keeper.dropout(length);
            }
            Track::Checked { beside } => {
                let band_hz = self.tracker.band_hz();
                self.health.remember_band(band_hz);
                self.follow_flutter();
                self.flutter.reached(band_hz);
                let quality = self.tracker.quality();
                let sum = self.health.checked(&beside, &quality);
                let has_sides = self.settings.listened().len() == MOST_CHANNELS;
                self.each_stretch(|stretch| {
                    stretch.reached(band_hz);
                    stretch.check(&sum);
                    if has_sides {
                        stretch.check_sides(&beside, &quality);
                    }
                });
            }
            Track::Lost(loss) => {
                self.whole.losses += 1;
                self.end_piece(loss);
                self.keeper.disturbed();
                self.health.lost();
                self.look_for_any();
            }
        }
    }

    /// Does something to all that is added up.
    fn each_stretch(&mut self, act: impl Fn(&mut Stretch)) {
        act(&mut self.whole);
        self.keeper.each(act);
    }

    /// What was followed has ended: it counts, or is as if it had never been.
    pub(super) fn end_piece(&mut self, loss: Loss) {
        self.follow_flutter();
        if self.tone == ToneState::Locked {
            self.tone = ToneState::Lost;
        }
        let Some(piece) = self.tracker.witness() else {
            return;
        };
        if let Some((before, nominal)) = self.belief.end(piece, loss) {
            self.trend.refuse_piece();
            self.sweeps.each(SweepRecorder::refuse_piece);
            self.whole = self.whole.replaced_by(before);
            if self.nominal != nominal {
                self.nominal = nominal;
                self.set_ranges();
            }
        }
    }

    /// Live, where no tone is named, the next tone may be any of the usual
    /// ones, whatever the last was.
    pub(super) fn look_for_any(&mut self) {
        if self.takes_the_nearest() {
            self.tracker.set_ranges(usual_ranges_hz());
        }
    }

    fn takes_the_nearest(&self) -> bool {
        self.is_live && self.settings.conditions.nominal == Nominal::Nearest
    }

    /// A tone that is followed is shown when it is believed.
    pub(super) fn judge_piece(&mut self) {
        let Some(piece) = self.tracker.witness() else {
            return;
        };
        let leaping = self.digits.as_ref().is_some_and(Digits::is_leaping);
        let shown = self.belief.look(piece) && !leaping;
        match (shown, self.tone) {
            (true, ToneState::Locked) => {}
            (true, _) => {
                self.tone = ToneState::Locked;
                self.wrong = None;
            }
            (false, ToneState::Locked) => {
                self.tone = ToneState::Searching;
                self.keeper.disturbed();
            }
            (false, _) => {}
        }
    }

    pub(super) fn is_shown(&self) -> bool {
        self.tracker.is_following() && self.tone == ToneState::Locked
    }

    pub(super) fn found(&mut self, hz: f64) {
        self.follow_flutter();
        self.belief.begin(&self.whole, self.nominal);
        if matches!(self.tone, ToneState::Wrong(_)) {
            self.tone = ToneState::Searching;
        }
        if self.nominal.is_none() || self.takes_the_nearest() {
            self.nominal = Some(judge::nearest_usual(Hertz(hz)));
            self.set_ranges();
        }
        let nominal = self.nominal.map_or(hz, |nominal| nominal.0);
        let rate = self.digit_rate_hz();
        // It may be another machine: nothing that was learnt need be true of it.
        self.digits = Some(Digits::new(rate, nominal));
        self.guide = Guide::new(rate);
        self.hold = None;
        self.digit_sum = (0.0, 0);
        self.flutter.restart(false);
        self.channels.found();
        self.trend.found();
        self.whole.found();
        self.keeper.disturbed();
        self.sweeps.each(SweepRecorder::found);
        if let Some(vibrato) = &mut self.vibrato {
            vibrato.interrupt();
        }
    }

    pub(super) fn value(&mut self, hz: f64) {
        let quality = self.tracker.quality();
        self.belief.heard(quality.map(|quality| {
            if quality.weight > 0.0 {
                quality.tone_power
            } else {
                0.0
            }
        }));
        let used = self.channel_of(&quality);
        let tone_power = tone_power(&quality);
        let disagree = channels_disagree(&quality, hz);
        let tick = self.value_tick;
        self.each_stretch(|stretch| stretch.value((tick, hz), tone_power, used, disagree));
        self.whole.course.push(tick, hz);
        self.value_tick += 1;
        if self.flutter_waiting.is_empty() {
            self.waiting_since_tick = tick;
        }
        self.flutter_waiting.push(hz);
        if self.keeper.is_busy() {
            self.follow_flutter();
        }
        self.trend.value(hz);
        self.digit_sum.0 += hz;
        self.digit_sum.1 += 1;
        if self.digit_sum.1 == self.per_digit {
            let mean = self.digit_sum.0 / f64::from(self.digit_sum.1);
            self.digit_sum = (0.0, 0);
            self.digit(mean);
        }
    }

    /// Gives the flutter meter what waits for it: many values at once cost less.
    pub(super) fn follow_flutter(&mut self) {
        let waiting = &self.flutter_waiting;
        let tick = self.waiting_since_tick;
        let whole = &mut self.whole.flutter;
        match self.keeper.flutter_totals() {
            Some(kept) => self.flutter.push(tick, waiting, &mut [whole, kept]),
            None => self.flutter.push(tick, waiting, &mut [whole]),
        }
        self.flutter_waiting.clear();
    }

    pub(super) fn digit(&mut self, hz: f64) {
        self.sweeps.each(|record| record.push(hz));
        let Some(digits) = &mut self.digits else {
            return;
        };
        let motion = digits.push(hz);
        let looked = self.vibrato.as_mut().and_then(|vibrato| vibrato.push(hz));
        if let Some(look) = looked {
            self.each_stretch(|stretch| stretch.vibrato.add(look));
        }
        if let Some(hold) = &mut self.hold {
            hold.push(hz);
        }
        match motion {
            Motion::Left => {}
            Motion::Moved => self.moved(),
            Motion::Wow { moves } => self.whole.were_no_moves(moves),
        }
        self.follow_guide(hz);
        self.advance_keeper();
    }

    /// The speed was moved: what was averaged before does not go with what
    /// comes.
    fn moved(&mut self) {
        self.follow_flutter();
        self.flutter.restart(true);
        self.whole.moved();
        self.trend.begin_anew();
        self.keeper.disturbed();
        self.guide.has_moved();
        self.hold.iter_mut().for_each(HoldCheck::disturbed);
        if let Some(vibrato) = &mut self.vibrato {
            vibrato.interrupt();
        }
    }

    pub(super) fn advance_keeper(&mut self) {
        if !self.keeper.is_busy() {
            return;
        }
        let Some(digits) = &self.digits else { return };
        let steady = self.is_shown() && digits.is_left_alone() && digits.holds_a_period();
        let period_s = digits.period_s();
        let known = self
            .scatter()
            .map(|scatter| scatter.half_width / self.settings.tolerance.0);
        if let Some(stretch) = self.keeper.advance(steady, period_s, known) {
            let measurement = self.finished(&stretch);
            self.keeper.finish(measurement);
        }
    }

    pub(super) fn look_at_unwanted(&mut self) {
        if let Some(hz) = self.tracker.unwanted_hz() {
            let wrong = WrongTone {
                heard: Hertz(hz),
                likely: judge::likely(Hertz(hz), self.nominal),
            };
            self.wrong = Some(wrong);
            self.tone = ToneState::Wrong(wrong);
        } else if matches!(self.tone, ToneState::Wrong(_)) {
            self.tone = ToneState::Searching;
        }
    }
}
