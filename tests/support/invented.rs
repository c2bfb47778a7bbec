//! An invented measurement for tests.

use tapewright::readings::{
    Caution, CautionCode, ChannelUsed, Chirp, Conditions, DriftReading, Dropout, FlutterLine,
    FlutterLines, FlutterReading, LikelyPart, LineAt, LineCourse, LineMotion, Measurement,
    SignalFigures, SpeedFigures, StabilityPoint, TwoChannels, UncertaintyParts,
};
use tapewright::units::{Decibels, Hertz, Percent, Seconds};

/// A cassette 1.23 % slow, everything measured.
pub fn measurement() -> Measurement {
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

/// One line with everything that can be said of one.
pub fn lines() -> FlutterLines {
    let part = |name: &str, harmonic, likelihood| LikelyPart {
        name: name.to_owned(),
        harmonic,
        likelihood,
        usual: Some(Percent(0.05)),
    };
    let line = FlutterLine {
        hz: Hertz(7.610_31),
        hz_uncertainty: Hertz(0.012_25),
        peak: Percent(0.052),
        peak_uncertainty: Percent(0.003),
        weighted_share: 0.41,
        motion: LineMotion::Turns,
        course: Some(LineCourse::Growing),
        chirp: Some(Chirp {
            percent_per_minute: -3.1,
            uncertainty_percent_per_minute: 1.2,
        }),
        windows: vec![LineAt {
            at: Seconds(32.77),
            hz: Hertz(7.61),
            peak: Percent(0.052),
        }],
        parts: vec![part("capstan", 1, 0.9339), part("belt", 3, 0.05)],
    };
    FlutterLines {
        lines: vec![line],
        seen: Seconds(62.4),
        reach: [Hertz(0.1), Hertz(200.0)],
        smallest: [0.009, 0.004, 0.001].map(|it| Some(Percent(it))),
        no_line_slow: 0.2,
        no_line_fast: 0.3,
        card: Some("bench deck".to_owned()),
        spectrum: [].into(),
    }
}

/// Two channels of the tone.
pub fn channels() -> TwoChannels {
    TwoChannels {
        level_left: Decibels(-12.1),
        level_right: Decibels(-12.9),
        balance: Decibels(0.8),
        balance_uncertainty: Some(Decibels(0.05)),
        right_lags_us: 3.2,
        right_lags_uncertainty_us: Some(0.1),
        jitter_us: Some(0.3),
        ambiguous_by_us: Some(317.46),
        inverted: false,
    }
}
