//! Invented measurements for the tests of this floor.

use crate::readings::{
    BadSpot, Caution, CautionCode, ChannelUsed, Conditions, DriftReading, Dropout, FlutterReading,
    Measurement, SignalFigures, SpeedFigures, SpotKind, SpotSeen, StabilityPoint, SweepPicture,
    SweepReport, SweepVerdict, UncertaintyParts,
};
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// A cassette 1.23 % slow, everything measured.
pub(super) fn measurement() -> Measurement {
    Measurement {
        duration: Seconds(62.4),
        rate_hz: 48_000,
        channel: ChannelUsed::Both,
        conditions: Conditions::default(),
        nominal: Some(Hertz(3150.0)),
        signal: SignalFigures {
            usable: true,
            level: Some(Decibels(-12.1)),
            snr: Some(Decibels(57.9)),
            clipped_samples: 0,
            dropouts: vec![Dropout {
                start: Seconds(8.31),
                length: Seconds(0.02),
            }],
            dropout_count: 1,
            gaps: 0,
        },
        speed: Some(SpeedFigures {
            measured: Some(Hertz(3111.2)),
            deviation: Percent((3111.2 / 3150.0 - 1.0) * 100.0),
            uncertainty: Some(Percent(0.011_142)),
            uncertainty_with_reference: None,
            parts: UncertaintyParts {
                noise: Some(Percent(0.0001)),
                wow: Some(Percent(0.0052)),
                wow_freedom: Some(18.0),
                partials: None,
                clock: Percent(0.01),
                reference: None,
            },
        }),
        drift: Some(DriftReading {
            percent_per_minute: 0.021,
            uncertainty_percent_per_minute: Some(0.015),
            span: Some(Percent(0.03)),
        }),
        stability: [(4.0, 0.011), (8.0, 0.006), (16.0, 0.007)]
            .map(|(seconds, percent)| StabilityPoint {
                averaging: Seconds(seconds),
                deviation: Percent(percent),
            })
            .to_vec(),
        flutter: FlutterReading {
            weighted_two_sigma: Some(Percent(0.121)),
            weighted_two_sigma_uncertainty: Some(Percent(0.008)),
            weighted_peak: Some(Percent(0.142)),
            weighted_peak_uncertainty: Some(Percent(0.012)),
            weighted_rms: Some(Percent(0.06)),
            weighted_rms_uncertainty: Some(Percent(0.004)),
            unweighted_two_sigma: Some(Percent(0.31)),
            unweighted_rms: Some(Percent(0.12)),
            unweighted_band: Some([Hertz(0.1), Hertz(200.0)]),
            wow_rms: Some(Percent(0.1)),
            flutter_rms: Some(Percent(0.05)),
            valid_in: None,
            band_limit: None,
        },
        cautions: vec![Caution::told(
            CautionCode::ReferenceErrorUnknown,
            "Nobody has said how true this tape is.",
        )],
        ..Measurement::default()
    }
}

/// Three seconds of something else than a tone.
pub(super) fn without_tone() -> Measurement {
    let mut measurement = measurement();
    measurement.duration = Seconds(3.0);
    measurement.signal = SignalFigures {
        usable: false,
        level: None,
        snr: None,
        clipped_samples: 0,
        dropouts: Vec::new(),
        dropout_count: 0,
        gaps: 0,
    };
    measurement.speed = None;
    measurement.drift = None;
    measurement.stability = Vec::new();
    measurement.flutter = FlutterReading::default();
    measurement.cautions = vec![Caution::told(
        CautionCode::ToneNotFound,
        "No steady tone was found.",
    )];
    measurement
}

/// A speed that no frequency tells, as of a passage or of marks.
pub(super) fn without_frequency() -> Measurement {
    let mut measurement = measurement();
    let speed = measurement.speed.as_mut().expect("a speed");
    speed.measured = None;
    measurement.nominal = None;
    measurement.drift = None;
    measurement.stability = Vec::new();
    measurement.flutter = FlutterReading::default();
    measurement
}

/// A sweep over a dirty spot.
pub(super) fn sweep() -> SweepReport {
    SweepReport {
        verdict: SweepVerdict::Erratic,
        unclear: None,
        lasted: Seconds(30.0),
        passes: Vec::new(),
        range: Some([Percent(-4.1), Percent(3.9)]),
        backlash: None,
        backlash_error: None,
        bad_spots: vec![BadSpot {
            at: Percent(-0.8),
            depth: Some(Percent(0.5)),
            kind: SpotKind::Jump,
            seen: SpotSeen::Both,
            times: Vec::new(),
        }],
        slight_spots: Vec::new(),
        smallest_seen: Some(Percent(0.2)),
        band: Some(Percent(0.5)),
        evidence: 2.0,
        picture: SweepPicture::default(),
    }
}
