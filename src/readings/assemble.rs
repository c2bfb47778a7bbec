//! From sums over a stretch to the [`Measurement`] with its ± and cautions.

use super::along::Along;
use super::conditions::{Conditions, ReferenceKind};
use super::fluctuation::{Fluctuation, Weighing};
use super::flutter::FlutterHz;
use super::health::{Sides, are_alarming};
use super::judge::{LOUD_HUM, LOW_SNR, ambiguous, mains_mismatch};
use super::noise::noise_hz;
use super::notes::{NO_NOTE, wrong_note};
use super::reading::{
    Caution, CautionCode, ChannelUsed, DriftReading, FlutterReading, Likely, Measurement, Problem,
    SignalFigures, SpeedFigures, UncertaintyParts, WrongTone,
};
use super::stability::{StabilityPoint, stability};
use super::stretch::Stretch;
use super::without_tone::SILENCE;
use super::wow::wow;
use crate::signal::statistics::fit_line;
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Below this a tone is not believed.
const LEAST_SNR: Decibels = Decibels(10.0);

/// A shorter record says nothing about what the machine does next: wow takes
/// about as long.
const LEAST_FOR_FLUCTUATION_S: f64 = 1.5;

/// A shorter track says nothing about drift.
const LEAST_FOR_DRIFT_S: f64 = 5.0;

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
}

/// Makes the measurement.
pub fn assemble(stretch: &Stretch, around: &Surroundings) -> Measurement {
    let signal = signal_figures(stretch, around.believed);
    let nominal = around.nominal.filter(|_| signal.usable);
    let speed = nominal.and_then(|nominal| speed_figures(stretch, around, nominal));
    let drift = nominal.and_then(|nominal| drift_figures(stretch, around, nominal));
    let flutter = nominal.map_or_else(FlutterReading::default, |nominal| {
        let scale = percent_per_hz(around.conditions, nominal);
        let band_hz = stretch.band_hz().or(around.band_hz);
        flutter_figures(&stretch.flutter.figures(), scale, band_hz)
    });
    let mut measurement = Measurement {
        duration: Seconds(stretch.frames as f64 / f64::from(around.rate_hz)),
        rate_hz: around.rate_hz,
        channel: stretch.channel().unwrap_or(around.channel),
        conditions: *around.conditions,
        nominal: around.nominal,
        signal,
        speed,
        drift,
        stability: nominal.map_or_else(Vec::new, |nominal| steadiness(stretch, around, nominal)),
        along: nominal.and_then(|nominal| along(stretch, around, nominal)),
        cut: None,
        flutter,
        note: None,
        tuning: None,
        passage: None,
        marks: None,
        recording: None,
        ident: None,
        cautions: Vec::new(),
    };
    measurement.cautions = cautions(stretch, around, &measurement);
    measurement
}

/// Percent of nominal speed for each hertz.
pub fn percent_per_hz(conditions: &Conditions, nominal: Hertz) -> f64 {
    conditions.deviation(Hertz(nominal.0 + 1.0), nominal).0
        - conditions.deviation(nominal, nominal).0
}

fn signal_figures(stretch: &Stretch, believed: bool) -> SignalFigures {
    let level = stretch
        .tone_power()
        .map(|power| Decibels::from_power_ratio(2.0 * power));
    let snr = stretch
        .beside()
        .map(|beside| Decibels::from_power_ratio(beside.tone / beside.rest.max(1e-15)));
    SignalFigures {
        usable: believed && level.is_some() && to_noise(stretch).is_none_or(|it| it > LEAST_SNR),
        level,
        snr,
        clipped_samples: stretch.clipped,
        dropouts: stretch.dropouts.clone(),
        dropout_count: stretch.dropout_count,
        gaps: stretch.gaps,
    }
}

/// Tone against all that could spoil its speed: hum does not.
fn to_noise(stretch: &Stretch) -> Option<Decibels> {
    let beside = stretch.beside()?;
    Some(Decibels::from_power_ratio(
        beside.tone / beside.noise().max(1e-15),
    ))
}

fn speed_figures(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Option<SpeedFigures> {
    let conditions = around.conditions;
    let heard = Hertz(stretch.mean_hz()?);
    let scale = percent_per_hz(conditions, nominal);
    let noise = noise_hz(stretch, around.rate_hz).map(|hz| Percent(hz * scale));
    let wow = Fluctuation::of(stretch.series().blocks())
        .filter(|_| stretch.measured_s() >= LEAST_FOR_FLUCTUATION_S)
        .map(|fluctuation| fluctuation.of_figure(stretch.weighing()).scaled(scale));
    Some(SpeedFigures::of(
        Some(conditions.clock.corrected(heard)),
        conditions.deviation(heard, nominal),
        UncertaintyParts::of(noise, wow, conditions),
    ))
}

fn drift_figures(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Option<DriftReading> {
    let series = stretch.undisturbed();
    if series.length_s() < LEAST_FOR_DRIFT_S {
        return None;
    }
    let scale = percent_per_hz(around.conditions, nominal);
    let per_minute = 60.0 * scale / series.block_s();
    let rise = Fluctuation::of(series.blocks())?.of_figure(Weighing::Slope);
    let uncertainty = rise.half_width / series.blocks().len() as f64;
    Some(DriftReading {
        percent_per_minute: fit_line(series.blocks()).slope * per_minute,
        uncertainty_percent_per_minute: Some(uncertainty * per_minute),
        span: stretch.span_hz().map(|hz| Percent(hz * scale)),
    })
}

/// The thirds of a record that nothing disturbed.
fn along(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Option<Along> {
    let origin_hz = stretch.origin_hz()?;
    Along::of_series(stretch.undisturbed(), |off_hz| {
        around
            .conditions
            .deviation(Hertz(origin_hz + off_hz), nominal)
    })
}

/// Of the newest undisturbed piece: a turn of the trimmer is no unsteadiness
/// of the machine.
fn steadiness(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Vec<StabilityPoint> {
    let series = stretch.undisturbed();
    let scale = percent_per_hz(around.conditions, nominal);
    stability(series.blocks(), Seconds(series.block_s()), scale)
}

/// From hertz to percent; what the tone is too low for is withheld.
///
/// What is weighted needs 100 Hz: from there on the curve lies below −17 dB
/// (table from memory), and a band that ends between 100 and 200 Hz is stated.
/// Wow and flutter need their upper edges, the unweighted figures state theirs.
pub fn flutter_figures(hz: &FlutterHz, scale: f64, band_hz: Option<f64>) -> FlutterReading {
    let percent = |value: Option<f64>| value.map(|value| Percent(value * scale));
    let reach = band_hz.unwrap_or(f64::INFINITY);
    let if_reached = |edge: f64, value: Option<Percent>| value.filter(|_| reach >= edge);
    let of = |uncertainty: Option<f64>| if_reached(100.0, percent(uncertainty));
    let two_sigma = percent(hz.weighted_two_sigma);
    let peak = percent(hz.weighted_peak);
    let rms = percent(hz.weighted_rms);
    FlutterReading {
        weighted_two_sigma: if_reached(100.0, two_sigma),
        weighted_two_sigma_uncertainty: of(hz.weighted_two_sigma_uncertainty),
        weighted_peak: if_reached(100.0, peak),
        weighted_peak_uncertainty: of(hz.weighted_peak_uncertainty),
        weighted_rms: if_reached(100.0, rms),
        weighted_rms_uncertainty: of(hz.weighted_rms_uncertainty),
        unweighted_two_sigma: percent(hz.unweighted_two_sigma),
        unweighted_rms: percent(hz.unweighted_rms),
        unweighted_band: hz
            .unweighted_rms
            .map(|_| [Hertz(0.1), Hertz(reach.min(200.0).round())]),
        wow_rms: if_reached(6.0, percent(hz.wow_rms)),
        flutter_rms: if_reached(100.0, percent(hz.flutter_rms)),
        valid_in: None,
        band_limit: (reach < 200.0).then_some(Hertz(reach)),
    }
}

fn cautions(stretch: &Stretch, around: &Surroundings, got: &Measurement) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut say = |code, text: String| cautions.push(Caution { code, text });
    signal_cautions(stretch, around, got, &mut say);
    if got.speed.is_some() {
        speed_cautions(stretch, around, got, &mut say);
    }
    cautions
}

fn signal_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    say: &mut impl FnMut(CautionCode, String),
) {
    let is_note = around.conditions.kind == ReferenceKind::Note;
    let wrong = around.wrong.filter(|_| got.speed.is_none());
    if let Some((wrong, note)) = wrong.zip(around.nominal.filter(|_| is_note)) {
        wrong_note(wrong, note, say);
    } else if let Some(wrong) = wrong {
        wrong_tone_cautions(wrong, say);
    } else if !got.signal.usable && around.silent {
        say(CautionCode::ToneNotFound, SILENCE.into());
    } else if !got.signal.usable && is_note {
        say(CautionCode::ToneNotFound, NO_NOTE.into());
    } else if !got.signal.usable && !around.believed && stretch.tone_power().is_some() {
        say(
            CautionCode::ToneNotFound,
            "Something like a tone was heard, but not long and steadily enough to be a test tone; \
             measure the part that carries it with --from and --to."
                .into(),
        );
    } else if !got.signal.usable {
        say(
            CautionCode::ToneNotFound,
            "No steady tone was found; check the tape, the channel and the input level.".into(),
        );
    }
    if stretch.losses > 0 && got.speed.is_some() {
        say(
            CautionCode::ToneLost,
            if stretch.losses == 1 {
                "The tone was lost once, or ended before the recording did; the figures are of what was heard of it.".into()
            } else {
                format!(
                    "The tone was lost {} and found again or not; the figures are of the parts in between.",
                    times(stretch.losses)
                )
            },
        );
    }
    if let Some(caution) = clipped_caution(got) {
        say(caution.code, caution.text);
    }
    if got.signal.dropout_count > 0 {
        let count = match got.signal.dropout_count {
            1 => "One dropout".to_owned(),
            count => format!("{count} dropouts"),
        };
        let then = if are_alarming(&got.signal.dropouts) {
            "clean the heads and try another stretch of tape"
        } else {
            "one now and then is no reason to do anything"
        };
        say(CautionCode::Dropouts, format!("{count}, bridged; {then}."));
    }
    if let Some(snr) = to_noise(stretch).filter(|snr| *snr < LOW_SNR) {
        say(
            CautionCode::LowSnr,
            format!("The tone stands only {snr:.0} above the noise."),
        );
    }
    let loudest_hum = stretch.beside().map(|beside| {
        let hum = beside.hum[0].max(beside.hum[1]);
        Decibels::from_power_ratio(hum / beside.tone)
    });
    if let Some(hum) = loudest_hum.filter(|hum| *hum > LOUD_HUM) {
        say(
            CautionCode::Hum,
            if got.signal.usable {
                format!("Mains hum at {hum:.0} of the tone; look for an earth loop.")
            } else {
                format!(
                    "Mains hum at {hum:.0} of the tone drowns it: look for an earth loop, an open \
                     chassis or a broken screen, and measure again."
                )
            },
        );
    }
    if stretch.channels_disagree() {
        say(
            CautionCode::ChannelsDisagree,
            "Left and right do not carry the same speed; the figures are of both. Choose one with --channel.".into(),
        );
    }
    if got.signal.usable && !is_note {
        sides_caution(stretch.sides(), say);
    }
}

/// Left and right beside one another.
fn sides_caution(sides: Sides, say: &mut impl FnMut(CautionCode, String)) {
    match sides {
        Sides::Alike => {}
        Sides::Level(right) => {
            let (louder, quieter) = if right.0 > 0.0 {
                ("right", "left")
            } else {
                ("left", "right")
            };
            say(
                CautionCode::LevelsDiffer,
                format!(
                    "The {quieter} channel is {:.1} dB quieter than the {louder}: dirty head, bad contact, azimuth, or the balance of the input. The speed does not depend on it.",
                    right.0.abs()
                ),
            );
        }
        Sides::Only(tone) => say(
            CautionCode::OneChannel,
            format!(
                "The tone is on the {} channel only: dirty head, bad contact, or a mono cable. The reading itself is good.",
                side(tone)
            ),
        ),
        Sides::Other { tone, heard, level } => say(
            CautionCode::ChannelsDisagree,
            format!(
                "The {} channel carries something else: about {heard}, {} the tone on the {}. The figures are of the {} channel; --channel chooses the other.",
                side(other_side(tone)),
                beside(level),
                side(tone),
                side(tone)
            ),
        ),
    }
}

fn beside(level: Decibels) -> String {
    if level.0.abs() < 1.0 {
        "as loud as".into()
    } else {
        let than = if level.0 < 0.0 { "quieter" } else { "louder" };
        format!("{:.0} dB {than} than", level.0.abs())
    }
}

fn side(channel: ChannelUsed) -> &'static str {
    if channel == ChannelUsed::Left {
        "left"
    } else {
        "right"
    }
}

fn other_side(channel: ChannelUsed) -> ChannelUsed {
    if channel == ChannelUsed::Left {
        ChannelUsed::Right
    } else {
        ChannelUsed::Left
    }
}

fn wrong_tone_cautions(wrong: WrongTone, say: &mut impl FnMut(CautionCode, String)) {
    // A spectrum tells no more than whole hertz while the tone wavers.
    let heard = Hertz(wrong.heard.0.round());
    say(
        CautionCode::ToneNotFound,
        format!(
            "A steady tone of {heard} was heard, which is outside −20 … +25 % of the reference."
        ),
    );
    if let Likely::Hum(hum) = wrong.likely {
        say(
            CautionCode::Hum,
            format!(
                "{heard} looks like mains hum ({hum}). Only a hint: if it was recorded with the tape, \
                 and not picked up now, the speed is about {:+.1} % off.",
                100.0 * (wrong.heard.0 / hum.0 - 1.0)
            ),
        );
    }
    if matches!(wrong.likely, Likely::HalfSpeed | Likely::DoubleSpeed) {
        let what = if wrong.likely == Likely::HalfSpeed {
            "half"
        } else {
            "double"
        };
        say(
            CautionCode::HalfOrDoubleSpeed,
            format!("{heard} is the reference at {what} speed; check the speed switch."),
        );
    }
}

/// What must be said of samples at full scale, if there were any.
pub(super) fn clipped_caution(of: &Measurement) -> Option<Caution> {
    let samples = of.signal.clipped_samples;
    let which = match of.clipped_share() {
        Some(share) => format!("{:.0} % of it", share.0),
        None if samples == 1 => "One sample".into(),
        None => format!("{samples} samples"),
    };
    (samples > 0).then(|| Caution {
        code: CautionCode::Clipped,
        text: format!("{which} stood at full scale; turn the input down."),
    })
}

/// Asked of a tape about which nothing is known.
pub(super) const WHERE_RECORDED: &str =
    "Where was it recorded? One recorded on this machine reads right at any speed.";

/// What must be said of the reference's own error.
pub(super) fn reference_cautions(
    conditions: &Conditions,
    say: &mut impl FnMut(CautionCode, String),
) {
    let reference = &conditions.reference;
    if reference.recorded_here {
        say(
            CautionCode::ReferenceRecordedHere,
            "The tape was recorded on this machine, so it reads right at any speed: this is no speed error. Take a tape from elsewhere.".into(),
        );
    } else if reference.home_made {
        say(
            CautionCode::ReferenceHomeMade,
            format!(
                "A home-made tape without a figure of its own is taken as ±3 %. {WHERE_RECORDED}"
            ),
        );
    } else if reference.uncertainty.is_none() {
        say(
            CautionCode::ReferenceErrorUnknown,
            format!("By this tape only: its own error is not known. {WHERE_RECORDED}"),
        );
    }
}

fn speed_cautions(
    stretch: &Stretch,
    around: &Surroundings,
    got: &Measurement,
    say: &mut impl FnMut(CautionCode, String),
) {
    reference_cautions(around.conditions, say);
    let measured = got.speed.and_then(|speed| speed.measured);
    if let Some((measured, nominal)) = measured.zip(around.nominal) {
        let is_open = around.conditions.nominal.is_open();
        if let Some(Problem::Ambiguous { taken, other }) =
            ambiguous(measured, nominal).filter(|_| is_open)
        {
            // The mean of a sweep is nothing that the machine runs at.
            let means = if around.is_swept {
                format!(
                    "{taken} is taken here, {other} would do as well, and where right speed lies holds for the one that is taken."
                )
            } else {
                let means = |tone: Hertz| off_by(measured, tone);
                format!(
                    "By {taken}, which is taken here, the machine is {}; by {other} it would be {}.",
                    means(taken),
                    means(other)
                )
            };
            say(
                CautionCode::ReferenceAmbiguous,
                format!(
                    "Which tone does the tape carry? Nobody has said. {means} The tape's label knows: --reference tone:{} or tone:{} says so.",
                    taken.0, other.0
                ),
            );
        }
        if !around.is_swept && mains_mismatch(measured, nominal).is_some() {
            say(
                CautionCode::MainsFrequencyMismatch,
                "The speed is off by the ratio of 50 and 60 Hz; a synchronous motor on the other mains frequency does that.".into(),
            );
        }
    }
    if stretch.moves > 0 {
        say(
            CautionCode::SpeedMoved,
            format!(
                "The speed was moved {} during this stretch.",
                times(stretch.moves)
            ),
        );
    }
    let too_short = got.speed.is_some_and(|speed| speed.uncertainty.is_none());
    if too_short || got.flutter.weighted_rms.is_none() && got.flutter.band_limit.is_none() {
        say(
            CautionCode::RecordTooShort,
            "Too short for every figure and its uncertainty; ten seconds settle the filters, thirty are better.".into(),
        );
    }
    if let Some(limit) = got.flutter.band_limit {
        say(
            CautionCode::ToneTooLow,
            format!(
                "The tone is too low, or too near half the sample rate, for flutter beyond {limit:.0}; what is weighted or unweighted ends there."
            ),
        );
    }
    let drifting = got.drift.is_some_and(|drift| {
        let known = drift
            .uncertainty_percent_per_minute
            .unwrap_or(f64::INFINITY);
        let over_all = drift.percent_per_minute.abs() * got.duration.0 / 60.0;
        drift.percent_per_minute.abs() > known && over_all > 0.05
    });
    if drifting && stretch.moves == 0 {
        let falls = got
            .drift
            .is_some_and(|drift| drift.percent_per_minute < 0.0);
        say(
            CautionCode::Drifting,
            if falls {
                "The speed falls: in a battery machine flat cells or a sagging supply come first; else let it warm up and measure again."
            } else {
                "The speed drifts; let the machine warm up and measure again."
            }
            .into(),
        );
    }
    heavy_wow(stretch, around, say);
}

/// A machine in fair order has a tenth of that (common practice, no source).
const HEAVY_WOW: Percent = Percent(0.5);

fn heavy_wow(stretch: &Stretch, around: &Surroundings, say: &mut impl FnMut(CautionCode, String)) {
    let Some((wow, nominal)) = wow(stretch).zip(around.nominal) else {
        return;
    };
    let rms = Percent(wow.rms_hz * percent_per_hz(around.conditions, nominal));
    if rms >= HEAVY_WOW {
        say(
            CautionCode::HeavyWow,
            format!(
                "Heavy wow: about {:.1} % at {:.1} Hz (RMS); look at the belt, the pinch roller and the pulleys first.",
                rms.0, wow.hz
            ),
        );
    }
}

/// What a tone that is heard means where this one is on the tape.
pub fn off_by(heard: Hertz, tone: Hertz) -> String {
    let percent = (heard.0 / tone.0 - 1.0) * 100.0;
    let way = if percent < 0.0 { "slow" } else { "fast" };
    format!("{:.1} % {way}", percent.abs())
}

fn times(count: u64) -> String {
    match count {
        1 => "once".into(),
        2 => "twice".into(),
        more => format!("{more} times"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_figure_is_silently_narrower_than_its_band() {
        let hz = FlutterHz {
            weighted_two_sigma: Some(1.0),
            weighted_peak: Some(1.0),
            weighted_rms: Some(1.0),
            unweighted_two_sigma: Some(1.0),
            unweighted_rms: Some(1.0),
            wow_rms: Some(1.0),
            flutter_rms: Some(1.0),
            weighted_two_sigma_uncertainty: Some(0.1),
            weighted_peak_uncertainty: Some(0.1),
            weighted_rms_uncertainty: Some(0.1),
        };
        for (reach, limit, weighted, wow) in [
            (330.0, None, true, true),
            (189.0, Some(189.0), true, true),
            (99.0, Some(99.0), false, true),
            (5.0, Some(5.0), false, false),
        ] {
            let got = flutter_figures(&hz, 1.0, Some(reach));
            assert_eq!(got.band_limit, limit.map(Hertz));
            assert_eq!(
                got.unweighted_band,
                Some([Hertz(0.1), Hertz(reach.min(200.0))])
            );
            let needs_100 = [
                got.weighted_two_sigma,
                got.weighted_two_sigma_uncertainty,
                got.weighted_peak,
                got.weighted_peak_uncertainty,
                got.weighted_rms,
                got.weighted_rms_uncertainty,
                got.flutter_rms,
            ];
            assert!(needs_100.iter().all(|figure| figure.is_some() == weighted));
            assert_eq!(got.wow_rms.is_some(), wow);
        }
    }
}
