//! Invented measurements for the tests of this floor.

pub(super) use super::invented::{channels, lines, measurement};
use crate::readings::{
    BadSpot, Caution, CautionCode, FlutterReading, Measurement, SignalFigures, SpotKind, SpotSeen,
    SweepPicture, SweepReport, SweepVerdict,
};
use crate::units::{Percent, Seconds};

/// Three seconds of something else than a tone.
pub(super) fn without_tone() -> Measurement {
    let mut measurement = measurement();
    measurement.duration = Seconds(3.0);
    measurement.signal = SignalFigures::default();
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
