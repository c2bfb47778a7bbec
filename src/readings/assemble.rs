//! From sums over a stretch to the [`Measurement`] with its ± and cautions.

use super::along::Along;
use super::cautions::{Surroundings, cautions};
use super::conditions::ReferenceKind;
use super::fluctuation::{Fluctuation, Weighing};
use super::flutter::FlutterHz;
use super::measurement::Measurement;
use super::noise::noise_hz;
use super::stability::{StabilityPoint, stability};
use super::stretch::Stretch;
use super::track::Track;
use super::values::{DriftReading, FlutterReading, SignalFigures, SpeedFigures, UncertaintyParts};
use super::wavering::FlutterLines;
use crate::signal::line::Line;
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Below this a tone is not believed.
const LEAST_SNR: Decibels = Decibels(10.0);

/// A shorter record says nothing about what the machine does next: wow takes
/// about as long.
const LEAST_FOR_FLUCTUATION_S: f64 = 1.5;

/// A shorter track says nothing about drift.
const LEAST_FOR_DRIFT_S: f64 = 5.0;

/// Makes the measurement.
pub fn assemble(stretch: &Stretch, around: &Surroundings) -> Measurement {
    let signal = signal_figures(stretch, around.believed);
    let nominal = around.nominal.filter(|_| signal.usable);
    let speed = nominal.and_then(|nominal| speed_figures(stretch, around, nominal));
    let drift = nominal.and_then(|nominal| drift_figures(stretch, around, nominal));
    let flutter = nominal.map_or_else(FlutterReading::default, |nominal| {
        let scale = around.conditions.percent_per_hz(nominal);
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
        track: nominal.and_then(|nominal| track(stretch, around, nominal)),
        flutter,
        lines: nominal.and_then(|_| lines(stretch, around)),
        channels: nominal.and_then(|_| stretch.channels.told()),
        ..Measurement::default()
    };
    measurement.cautions = cautions(stretch, around, &measurement);
    measurement
}

fn signal_figures(stretch: &Stretch, believed: bool) -> SignalFigures {
    let level = stretch
        .tone_power()
        .map(|power| Decibels::from_power_ratio(2.0 * power));
    let snr = stretch
        .beside()
        .map(|beside| Decibels::from_power_ratio(beside.tone / beside.rest.max(1e-15)));
    SignalFigures {
        usable: believed && level.is_some() && stretch.to_noise().is_none_or(|it| it > LEAST_SNR),
        level,
        snr,
        clipped_samples: stretch.clipped,
        dropouts: stretch.dropouts.clone(),
        dropout_count: stretch.dropout_count,
        gaps: stretch.gaps,
    }
}

fn speed_figures(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Option<SpeedFigures> {
    let conditions = around.conditions;
    let heard = Hertz(stretch.mean_hz()?);
    let scale = conditions.percent_per_hz(nominal);
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
    let scale = around.conditions.percent_per_hz(nominal);
    let per_minute = 60.0 * scale / series.block_s();
    let rise = Fluctuation::of(series.blocks())?.of_figure(Weighing::Slope);
    let uncertainty = rise.half_width / series.blocks().len() as f64;
    Some(DriftReading {
        percent_per_minute: Line::of_series(series.blocks()).slope * per_minute,
        uncertainty_percent_per_minute: Some(uncertainty * per_minute),
        span: stretch.span_hz().map(|hz| Percent(hz * scale)),
    })
}

/// Of a tone: a player's unsteadiness cannot be told from the machine's.
fn lines(stretch: &Stretch, around: &Surroundings) -> Option<FlutterLines> {
    let is_tone = around.conditions.kind == ReferenceKind::Tone;
    is_tone.then(|| stretch.flutter.lines.lines()).flatten()
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

/// Speed and flutter against time, the latter where the tone reaches as far as
/// the weighting curve and the player's own is not in it.
fn track(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Option<Track> {
    let conditions = around.conditions;
    let origin_hz = stretch.origin_hz()?;
    let scale = conditions.percent_per_hz(nominal);
    let reach = stretch.band_hz().or(around.band_hz);
    let has_flutter = conditions.kind == ReferenceKind::Tone && reaches(WEIGHTED_HZ, reach);
    let deviation = |off_hz| conditions.deviation(Hertz(origin_hz + off_hz), nominal);
    let reading = |hz| has_flutter.then_some(Percent(hz * scale));
    Track::of(
        (stretch.steps(), deviation),
        (&stretch.flutter.steps, reading),
        around.since_tick,
    )
}

/// Of the newest undisturbed piece: a turn of the trimmer is no unsteadiness
/// of the machine.
fn steadiness(stretch: &Stretch, around: &Surroundings, nominal: Hertz) -> Vec<StabilityPoint> {
    let series = stretch.undisturbed();
    let scale = around.conditions.percent_per_hz(nominal);
    stability(series.blocks(), Seconds(series.block_s()), scale)
}

/// What is weighted needs this; see [`flutter_figures`].
const WEIGHTED_HZ: f64 = 100.0;

/// Whether a band reaches an edge; one that is not known is not narrow.
fn reaches(edge_hz: f64, band_hz: Option<f64>) -> bool {
    band_hz.is_none_or(|band_hz| band_hz >= edge_hz)
}

/// From hertz to percent; what the tone is too low for is withheld.
///
/// What is weighted needs 100 Hz: from there on the curve lies below −17 dB
/// (table from memory), and a band that ends between 100 and 200 Hz is stated.
/// Wow and flutter need their upper edges, the unweighted figures state theirs.
pub fn flutter_figures(hz: &FlutterHz, scale: f64, band_hz: Option<f64>) -> FlutterReading {
    let percent = |value: Option<f64>| value.map(|value| Percent(value * scale));
    let reach = band_hz.unwrap_or(f64::INFINITY);
    let if_reached = |edge, value: Option<Percent>| value.filter(|_| reaches(edge, band_hz));
    let of = |uncertainty: Option<f64>| if_reached(WEIGHTED_HZ, percent(uncertainty));
    let two_sigma = percent(hz.weighted_two_sigma);
    let peak = percent(hz.weighted_peak);
    let rms = percent(hz.weighted_rms);
    FlutterReading {
        weighted_two_sigma: if_reached(WEIGHTED_HZ, two_sigma),
        weighted_two_sigma_uncertainty: of(hz.weighted_two_sigma_uncertainty),
        weighted_peak: if_reached(WEIGHTED_HZ, peak),
        weighted_peak_uncertainty: of(hz.weighted_peak_uncertainty),
        weighted_rms: if_reached(WEIGHTED_HZ, rms),
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
