//! What must be said of the figures of a stretch.

use super::caution::{Caution, Ratio};
use super::conditions::{Conditions, ReferenceKind};
use super::health::{Sides, are_alarming};
use super::judge::{LOUD_HUM, LOW_SNR, ambiguous, mains_mismatch};
use super::measurement::Measurement;
use super::stretch::Stretch;
use super::values::{ChannelUsed, Likely, Problem, WrongTone};
use super::wavering::TwoChannels;
use super::wow::wow;
use crate::units::{Decibels, Hertz, Percent};

/// What is known besides the stretch.
pub struct Surroundings<'a> {
    pub conditions: &'a Conditions,
    pub nominal: Option<Hertz>,
    pub rate_hz: u32,
    pub band_hz: Option<f64>,
    pub wrong: Option<WrongTone>,
    pub believed: bool,
    /// Nothing could be heard so far.
    pub silent: bool,
    /// The trimmer is being turned through its range.
    pub is_swept: bool,
    pub channel: ChannelUsed,
    /// The tick that times count from.
    pub since_tick: u64,
}

pub(super) fn cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
) -> Vec<Caution> {
    let mut cautions = Vec::new();
    reference_cautions(stretch, around, got, &mut cautions);
    signal_cautions(stretch, around, got, &mut cautions);
    if got.speed.is_some() {
        speed_cautions(stretch, around, got, &mut cautions);
    }
    cautions
}

/// Why it was not found, or that it was lost.
fn reference_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    cautions: &mut Vec<Caution>,
) {
    let is_note = around.conditions.kind == ReferenceKind::Note;
    let wrong = around.wrong.filter(|_| got.speed.is_none());
    if let Some(wrong) = wrong {
        let named = around.nominal.filter(|_| is_note);
        wrong_cautions(wrong, named, cautions);
    } else if !got.signal.usable {
        let sounds_like_one = !around.believed && stretch.tone_power().is_some();
        cautions.push(match (around.silent, is_note) {
            (true, _) => Caution::Silence,
            (false, true) => Caution::NoNote,
            (false, false) if sounds_like_one => Caution::LikeATone,
            (false, false) => Caution::NoTone,
        });
    }
    if stretch.losses > 0 && got.speed.is_some() {
        cautions.push(Caution::ToneLost(stretch.losses));
    }
}

fn signal_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    cautions: &mut Vec<Caution>,
) {
    let kind = around.conditions.kind;
    cautions.extend(got.clipped_caution());
    if got.signal.dropout_count > 0 {
        cautions.push(Caution::Dropouts(
            got.signal.dropout_count,
            are_alarming(&got.signal.dropouts),
        ));
    }
    if let Some(snr) = stretch.to_noise().filter(|snr| *snr < LOW_SNR) {
        cautions.push(Caution::Trouble(Problem::LowSnr(snr), kind));
    }
    let loudest_hum = stretch.beside().map(|beside| {
        let [at_50, at_60] = beside.hum;
        let level = Decibels::from_power_ratio(at_50.max(at_60) / beside.tone);
        let mains = Hertz(if at_50 > at_60 { 50.0 } else { 60.0 });
        (mains, level)
    });
    if let Some((mains, level)) = loudest_hum.filter(|(_, level)| *level > LOUD_HUM) {
        cautions.push(Caution::Trouble(Problem::Hum { mains, level }, kind));
    }
    if stretch.channels_disagree() {
        cautions.push(Caution::Trouble(Problem::ChannelsDisagree, kind));
    }
    if let Some(channels) = &got.channels {
        cautions.extend(channels.inverted.then_some(Caution::ChannelInverted));
        cautions.extend(near_half_a_period(channels));
    }
    if got.signal.usable && kind != ReferenceKind::Note {
        cautions.extend(match stretch.sides() {
            Sides::Alike => None,
            Sides::Level(right) => Some(Caution::LevelsDiffer(right)),
            Sides::Only(tone) => Some(Caution::Trouble(Problem::OneChannel(tone), kind)),
            Sides::Other { tone, heard } => {
                Some(Caution::Trouble(Problem::OtherSound { tone, heard }, kind))
            }
        });
    }
}

/// What is heard in place of the tone, or of the note that was named.
fn wrong_cautions(wrong: WrongTone, named: Option<Hertz>, cautions: &mut Vec<Caution>) {
    // A spectrum tells no more than whole hertz while the tone wavers.
    let heard = Hertz(wrong.heard.0.round());
    let octave = match wrong.likely {
        Likely::HalfSpeed => Some(Ratio::Half),
        Likely::DoubleSpeed => Some(Ratio::Double),
        _ => None,
    };
    if let Some(named) = named {
        cautions.push(Caution::WrongNote(wrong.heard, named));
        cautions.extend(octave.map(|ratio| Caution::OctaveOff(heard, ratio)));
        return;
    }
    cautions.push(Caution::WrongTone(heard));
    if let Likely::Hum(hum) = wrong.likely {
        cautions.push(Caution::LikeHum(heard, hum));
    }
    cautions.extend(octave.map(|ratio| Caution::OtherSpeed(heard, ratio)));
}

fn speed_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    cautions: &mut Vec<Caution>,
) {
    cautions.extend(Caution::of_reference(around.conditions));
    let measured = got.speed.and_then(|speed| speed.measured);
    if let Some((measured, nominal)) = measured.zip(around.nominal) {
        let is_open = around.conditions.nominal.is_open();
        if let Some(Problem::Ambiguous { taken, other }) =
            ambiguous(measured, nominal).filter(|_| is_open)
        {
            let heard = Some(measured).filter(|_| !around.is_swept);
            cautions.push(Caution::WhichTone([taken, other], heard));
        }
        if !around.is_swept && mains_mismatch(measured, nominal).is_some() {
            cautions.push(Caution::OtherMains);
        }
    }
    if stretch.moves > 0 {
        cautions.push(Caution::Moved(stretch.moves));
    }
    let too_short = got.speed.is_some_and(|speed| speed.uncertainty.is_none());
    if too_short || got.flutter.weighted_rms.is_none() && got.flutter.band_limit.is_none() {
        cautions.push(Caution::TooShort);
    } else if got.lines.is_none() && around.conditions.kind == ReferenceKind::Tone {
        cautions.push(Caution::NoLinesYet);
    }
    cautions.extend(got.flutter.band_limit.map(Caution::ToneTooLow));
    let drift = got.drift.filter(|drift| {
        let known = drift
            .uncertainty_percent_per_minute
            .unwrap_or(f64::INFINITY);
        let over_all = drift.percent_per_minute.abs() * got.duration.0 / 60.0;
        drift.percent_per_minute.abs() > known && over_all > 0.05
    });
    if let Some(drift) = drift.filter(|_| stretch.moves == 0) {
        let falls = drift.percent_per_minute < 0.0;
        cautions.push(Caution::Drifting(falls));
    }
    cautions.extend(heavy_wow(stretch, around));
}

/// A machine in fair order has a tenth of that (common practice, no source).
const HEAVY_WOW: Percent = Percent(0.5);

fn heavy_wow(stretch: &Stretch, around: &Surroundings) -> Option<Caution> {
    let (wow, nominal) = wow(stretch).zip(around.nominal)?;
    let rms = Percent(wow.rms_hz * around.conditions.percent_per_hz(nominal));
    (rms >= HEAVY_WOW).then_some(Caution::HeavyWow(rms, Hertz(wow.hz)))
}

/// Azimuth and weave move the time between the channels by this part of a
/// period without anybody touching the head. Practice, no source.
const NEAR_HALF: f64 = 0.1;

fn near_half_a_period(channels: &TwoChannels) -> Option<Caution> {
    let period_us = channels.ambiguous_by_us?;
    let is_near = channels.right_lags_us.abs() > (0.5 - NEAR_HALF) * period_us;
    is_near.then_some(Caution::LagNearHalfPeriod(period_us))
}
