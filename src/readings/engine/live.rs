//! The newest live reading, from the state of the engine.

use std::sync::Arc;

use super::{Engine, trend};
use crate::readings::assemble::flutter_figures;
use crate::readings::conditions::{ChannelChoice, ReferenceKind};
use crate::readings::digits::Digits;
use crate::readings::expanded::Expanded;
use crate::readings::holding::{Holding, Known};
use crate::readings::measurement::Reading;
use crate::readings::stability::{Worth, stability, worth};
use crate::readings::target::Target;
use crate::readings::values::{
    DriftReading, FlutterReading, Problem, SpeedReading, Steadiness, UncertaintyParts,
};
use crate::readings::wavering::FlutterLines;
use crate::units::{Hertz, Percent, Seconds};

/// Settled: the scatter is at most this part of the tolerance.
const SETTLED_PART: f64 = 0.5;

/// A move is spoken of for this long.
const MOVING_S: f64 = 0.4;

impl Engine {
    /// The newest live reading.
    pub fn reading(&self) -> Reading {
        let speed = self.speed();
        let mut signal = self.health.report(
            self.tone,
            self.channel_used(),
            &self.tracker.quality(),
            speed.and_then(|speed| speed.measured).zip(self.nominal),
            self.settings.conditions.nominal.is_open(),
        );
        if self.settings.choice != ChannelChoice::Auto {
            // One channel is what was asked for.
            let is_wish = |problem: &Problem| {
                matches!(problem, Problem::OneChannel(_) | Problem::OtherSound { .. })
            };
            signal.problems.retain(|problem| !is_wish(problem));
        }
        self.tracker.name_problems(&mut signal.problems);
        let besides = speed.map_or(0.0, |speed| {
            let stated = speed.uncertainty_with_reference.or(speed.uncertainty);
            let [stated, scatter] = [stated, speed.scatter].map(|it| it.map_or(0.0, |it| it.0));
            (stated * stated - scatter * scatter).max(0.0).sqrt()
        });
        let guidance = (self.guide).guidance(self.settings.tolerance, Percent(besides));
        let timed = self.timed.as_ref();
        if timed.is_some() {
            // No tone is looked for.
            let counts =
                |problem: &Problem| matches!(problem, Problem::NoSignal | Problem::Clipped);
            signal.problems.retain(counts);
        }
        Reading {
            at: Seconds(self.frames as f64 / f64::from(self.settings.rate_hz)),
            tone: self.tone,
            signal,
            nominal: self.nominal.filter(|_| self.is_by_frequency()),
            place: self.tracker.place(),
            timed: timed.map(|timed| timed.progress()),
            speed,
            drift: self.drift(),
            worth: self.worth(),
            flutter: self.flutter_reading(),
            lines: self.lines(),
            channels: self
                .channels
                .told(self.ticks_s())
                .filter(|_| self.is_shown()),
            channels_now: self
                .channels
                .now(self.ticks_s())
                .filter(|_| self.is_shown()),
            trend: self.trend_percent(),
            keeping: match timed {
                Some(timed) => timed.keeping(),
                None => self.keeper.state(),
            },
            guidance,
            sweep: self.sweeping(),
            holding: self.holding(),
            ident: self.tape_ident(),
        }
    }

    /// Ticks since the input began, in seconds.
    pub(super) fn ticks_s(&self) -> f64 {
        self.ticks as f64 / self.plan.output_rate_hz()
    }

    fn is_by_frequency(&self) -> bool {
        matches!(self.target, Target::Frequency)
    }

    /// Percent for each hertz; `None` before there is a nominal.
    fn scale(&self) -> Option<f64> {
        self.nominal
            .map(|nominal| self.settings.conditions.percent_per_hz(nominal))
    }

    /// 95 % of the digits in percent, from what they scatter by.
    pub(super) fn scatter(&self) -> Option<Expanded> {
        let hz = self.digits.as_ref()?.scatter_hz()?;
        Some(hz.scaled(self.scale()?))
    }

    /// What makes up the ± of the digits, as for a stretch that is kept; noise
    /// is in what they scatter by.
    fn uncertainty_parts(&self, scatter: Option<Expanded>) -> UncertaintyParts {
        UncertaintyParts {
            partials: self.tracker.partials(),
            ..UncertaintyParts::of(Some(Percent(0.0)), scatter, &self.settings.conditions)
        }
    }

    fn speed(&self) -> Option<SpeedReading> {
        if let Some(timed) = &self.timed {
            return timed.speed(self.settings.tolerance);
        }
        if !self.is_shown() {
            return None;
        }
        let conditions = &self.settings.conditions;
        let nominal = self.nominal?;
        let digits = self.digits.as_ref()?;
        let hz = Hertz(digits.hz()?);
        let scatter = self.scatter();
        let parts = self.uncertainty_parts(scatter);
        let percent = |sum: Expanded| Percent(sum.half_width);
        let scatter = scatter.map(percent);
        Some(SpeedReading {
            deviation: conditions.deviation(hz, nominal),
            measured: self
                .is_by_frequency()
                .then(|| conditions.clock.corrected(hz)),
            uncertainty: parts.sum().map(percent),
            uncertainty_with_reference: parts.sum_with_reference().map(percent),
            scatter,
            needle: conditions.deviation(Hertz(digits.needle_hz()?), nominal),
            averaged: Seconds(digits.averaged_s()),
            steadiness: self.steadiness(digits, scatter),
            since_move: Seconds(digits.since_start_s()),
        })
    }

    /// Hands the guide the newest value, and the mean once it is one.
    pub(super) fn follow_guide(&mut self, hz: f64) {
        if !self.is_live {
            return;
        }
        let (Some(digits), Some(nominal)) = (&self.digits, self.nominal) else {
            return;
        };
        let conditions = &self.settings.conditions;
        let deviation = |hz: f64| conditions.deviation(Hertz(hz), nominal).0;
        let still = self.is_shown() && !digits.is_moving() && digits.holds_a_period();
        let settled = digits.freshest(self.guide.rested_s()).filter(|_| still);
        let settled = settled.map(|(mean, scatter)| {
            let mean_percent = deviation(mean);
            (mean_percent, deviation(mean + scatter) - mean_percent)
        });
        self.guide.push(deviation(hz), settled);
    }

    /// The technician turns an eighth of a turn clockwise now.
    pub fn mark_an_eighth(&mut self) {
        self.guide.mark_an_eighth();
    }

    fn holding(&self) -> Option<Holding> {
        let hold = self.hold.as_ref()?;
        let digits = self.digits.as_ref()?;
        let scatter_hz = |length_s| {
            let scatter = digits.scatter_of_mean_hz(length_s);
            scatter.map_or(f64::INFINITY, |scatter| scatter.half_width)
        };
        let known = digits.period().zip(self.scale());
        let known = known.filter(|_| self.is_shown() && !digits.is_moving());
        let known = known.map(|(period, scale)| Known {
            period,
            scatter_hz: &scatter_hz,
            scale,
            tolerance: self.settings.tolerance,
        });
        Some(hold.state(known.as_ref()))
    }

    fn steadiness(&self, digits: &Digits, scatter: Option<Percent>) -> Steadiness {
        let just_moved = digits.was_moved() && digits.since_start_s() < MOVING_S;
        if digits.is_moving() || just_moved {
            return Steadiness::Moving;
        }
        let known = scatter.is_some_and(|s| s.0 <= SETTLED_PART * self.settings.tolerance.0);
        if known && digits.holds_a_period() && digits.is_left_alone() {
            Steadiness::Settled
        } else {
            Steadiness::Settling
        }
    }

    fn worth(&self) -> Option<Worth> {
        let points = self.trend.undisturbed(usize::MAX);
        worth(&stability(&points, Seconds(trend::STEP_S), self.scale()?))
    }

    fn drift(&self) -> Option<DriftReading> {
        let scale = self.scale()?;
        let drift = self.trend.drift()?;
        Some(DriftReading {
            percent_per_minute: drift.hz_per_s * 60.0 * scale,
            uncertainty_percent_per_minute: Some(drift.uncertainty_hz_per_s * 60.0 * scale),
            span: Some(Percent(drift.span_hz * scale)),
        })
    }

    fn flutter_reading(&self) -> FlutterReading {
        // A player's unsteadiness cannot be told from the machine's, and
        // places in a copy come too seldom.
        let gives_flutter = self.settings.conditions.kind == ReferenceKind::Tone;
        let shown = self.is_shown() && gives_flutter;
        let Some(scale) = self.scale().filter(|_| shown) else {
            return FlutterReading::default();
        };
        let (figures, valid_in) = self.flutter.figures();
        FlutterReading {
            valid_in: valid_in.map(Seconds),
            ..flutter_figures(&figures, scale, self.tracker.band_hz())
        }
    }

    /// What wavers, as of the newest look.
    fn lines(&self) -> Option<Arc<FlutterLines>> {
        let is_tone = self.settings.conditions.kind == ReferenceKind::Tone;
        let shown = is_tone && self.is_shown();
        let newest = self.whole.flutter.lines.live(self.flutter.generation());
        newest.filter(|_| shown).cloned()
    }

    fn trend_percent(&self) -> Arc<[Option<Percent>]> {
        let conditions = &self.settings.conditions;
        let points = self.trend.points();
        points
            .map(|point| {
                let (hz, nominal) = point.zip(self.nominal)?;
                Some(conditions.deviation(Hertz(hz), nominal))
            })
            .collect()
    }
}
