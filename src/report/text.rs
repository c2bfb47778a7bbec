//! A block of text a file, for people: first what decides what to do at the
//! machine, then the rest. Fits 80 columns.

use std::fmt::Write as _;
use std::iter;

use super::numbers::{places, plain, signed};
use super::words::{band, cell, channel, counted, with_uncertainty, wrapped};
use super::{FileReport, FileResult, channels, contact, faults, lines, noun, sweep, timed, words};
use crate::readings::contact::ContactReport;
use crate::readings::{
    Along, CautionCode, Cut, FlutterLines, FlutterReading, Measurement, Place, SignalFigures,
    SpeedFigures, SweepReport, TapeIdent, TwoChannels, Unclear, Verdict,
};
use crate::references::evidence::Situation;
use crate::references::faults::likeliest_of_each;
use crate::references::parts::PartsCard;
use crate::references::{Found, TapeCard, Tolerance};
use crate::units::{Percent, Seconds};

/// Dropouts whose place is said one by one.
const DROPOUTS_LISTED: usize = 4;

/// The block for a file, with its last line's end.
pub fn block(report: &FileReport<'_>) -> String {
    let file = plain(report.file);
    match &report.result {
        FileResult::Measured(measurement) => {
            let wiper = report.sweep.map_or(String::new(), sweep::lines);
            let control = report
                .contact
                .flatten()
                .map_or(String::new(), contact::lines);
            let measured = if let Some(sweep) = report.sweep {
                swept(&file, measurement, sweep)
            } else if report.contact.is_some() && !measurement.signal.usable {
                // Contacts need no tone: nothing is said of one that is not there.
                title(&file, measurement)
            } else {
                let breaks = report.contact.flatten().is_some_and(ContactReport::breaks);
                measured(&file, measurement, report.tolerance, report.parts, breaks)
                    + &report.tape.map_or(String::new(), tape)
                    + &measurement.ident.as_ref().map_or(String::new(), ident)
            };
            measured + &wiper + &control
        }
        // Why stands on standard error, once.
        FileResult::NotMeasured { .. } => format!("{file}\n  Not read\n"),
    }
}

fn title(file: &str, measurement: &Measurement) -> String {
    format!(
        "{file}\n  {}, {} Hz, {}\n",
        length(measurement.duration),
        measurement.rate_hz,
        channel(measurement.channel)
    )
}

/// While the trimmer is turned there is no speed to be told, and what is said
/// of it does not count against the record.
fn swept(file: &str, measurement: &Measurement, report: &SweepReport) -> String {
    let mut text = title(file, measurement);
    let why = match report.unclear {
        Some(Unclear::NoTone | Unclear::TooShort | Unclear::ToneLost | Unclear::WhichTone) => {
            "not told"
        }
        Some(Unclear::HardlyMoved) => {
            "none is told of a sweep; without --sweep it is, for it hardly moved"
        }
        _ => "turned through the range, so none is told",
    };
    text.push_str(&wrapped("  Speed      ", why));
    text.push_str(&wrapped("  Signal     ", &signal(measurement, false)));
    text.push_str(&cautions(measurement, &sweep::BY_TURNING));
    text
}

/// The cautions but for those of these codes.
fn cautions(measurement: &Measurement, but: &[CautionCode]) -> String {
    let all = measurement.cautions.iter();
    all.filter(|caution| !but.contains(&caution.code()))
        .map(|caution| wrapped("  Caution    ", &plain(&caution.to_string())))
        .collect()
}

fn measured(
    file: &str,
    measurement: &Measurement,
    tolerance: Tolerance,
    parts: Option<&PartsCard>,
    contact_breaks: bool,
) -> String {
    let mut text = title(file, measurement);
    match &measurement.speed {
        Some(speed) => text.push_str(&speed_lines(speed, measurement, tolerance)),
        None => text.push_str("  Speed      not measured\n"),
    }
    if measurement.conditions.kind.has_frequency() {
        text.push_str(&drift_line(measurement));
        text.push_str(&along_line(measurement));
        if measurement.speed.is_some() && measurement.note.is_none() {
            text.push_str(&flutter_lines(&measurement.flutter));
            if let Some(found) = &measurement.lines {
                text.push_str(&wavering(found, parts, tolerance));
            }
            text.push_str(&causes(measurement, parts, tolerance));
        }
    }
    text.push_str(&wrapped(
        "  Signal     ",
        &signal(measurement, contact_breaks),
    ));
    text.push_str(
        &measurement
            .channels
            .as_ref()
            .map_or(String::new(), two_channels),
    );
    text.push_str(&cautions(measurement, &[]));
    text
}

/// The lines in the flutter.
fn wavering(found: &FlutterLines, parts: Option<&PartsCard>, tolerance: Tolerance) -> String {
    let heads = iter::once("  Lines      ").chain(iter::repeat("             "));
    heads
        .zip(lines::each(found, parts, tolerance))
        .map(|(head, line)| wrapped(head, &plain(&line)))
        .collect()
}

/// The likeliest cause of what wavers, and that of a wrong speed.
fn causes(measurement: &Measurement, parts: Option<&PartsCard>, tolerance: Tolerance) -> String {
    let situation = Situation {
        card: parts,
        ..Situation::of(measurement, tolerance)
    };
    let each = likeliest_of_each(&situation.evidence())
        .into_iter()
        .flatten();
    each.map(|fault| {
        let sentence = faults::sentence(&fault, measurement.lines.as_ref());
        wrapped("  Cause      ", &plain(&sentence))
    })
    .collect()
}

/// What two channels tell of the head.
fn two_channels(it: &TwoChannels) -> String {
    let said = [
        Some(channels::levels(it)),
        Some(channels::balance(it)),
        Some(channels::lag(it)),
        channels::doubt(it),
        Some(channels::mono_loss(it)),
    ];
    let said: Vec<String> = said.into_iter().flatten().collect();
    wrapped("  Channels   ", &said.join("; "))
}

/// The tape's card.
fn tape(card: &TapeCard) -> String {
    let own = &card.speed;
    let found = match own.found {
        Found::Certificate => "by its certificate",
        Found::Measured => "measured",
    };
    let by = match (own.found, &own.by) {
        (_, None) => String::new(),
        (Found::Certificate, Some(by)) => format!(" ({})", plain(by)),
        (Found::Measured, Some(by)) => format!(" on {}", plain(by)),
    };
    let words = format!(
        "{}: own error {} %, {found}{by}, {}",
        plain(&card.name),
        with_uncertainty(own.error_percent, Some(own.uncertainty_percent), true),
        plain(&own.on)
    );
    wrapped("  Tape       ", &words)
}

/// What the tape says of itself.
fn ident(ident: &TapeIdent) -> String {
    let words = format!(
        "recorded on \"{}\", {}, with {}",
        plain(&ident.machine),
        plain(&ident.date),
        ident.nominal
    );
    wrapped("  Tape says  ", &words)
}

fn length(duration: Seconds) -> String {
    if duration.0 < 1.0 {
        format!("{:.0} ms", duration.0 * 1000.0)
    } else {
        format!("{:.1} s", duration.0)
    }
}

/// Slow or fast where either may be said, and the verdict.
fn judged(speed: &SpeedFigures, verdict: Verdict) -> String {
    let way = verdict.way(speed.deviation, speed.uncertainty);
    let way = way.map(|way| format!("{}, ", way.word().to_uppercase()));
    way.unwrap_or_default() + verdict.words()
}

fn speed_lines(speed: &SpeedFigures, measurement: &Measurement, tolerance: Tolerance) -> String {
    let turned = (measurement.cut.as_ref()).is_some_and(|cut| !cut.stretches.is_empty());
    let before = if turned { "MOVED, THEN " } else { "" };
    let verdict = Verdict::of_measured(measurement, tolerance.half_width);
    let mut text = format!(
        "  Speed      {} %  {}{}\n",
        words::deviation(speed),
        before,
        judged(speed, verdict),
    );
    let measured = speed
        .measured
        .map_or(String::new(), |hz| format!(", {:.2} Hz", hz.0));
    let nominal = measurement
        .nominal
        .map_or(String::new(), |hz| format!(" for {hz}"));
    let _ = writeln!(
        text,
        "             {} cents{measured}{nominal}{}",
        signed(speed.deviation.cents().0, 1),
        timed::found(measurement),
    );
    text.push_str(&timed::place(measurement));
    let about = match (speed.uncertainty_with_reference, speed.uncertainty) {
        _ if measurement.conditions.reference.recorded_here => {
            "a tape reads right at any speed of the machine that recorded it"
        }
        (Some(_), _) => "the ± has the reference's own error in it",
        // A caution says it, and the budget line by line.
        (None, Some(_)) => "",
        (None, None) => "no ± can be given: too short to know what the machine does",
    };
    let in_band = if verdict == Verdict::MadeHere {
        String::new()
    } else {
        format!("band {}", band(tolerance))
    };
    let between = if in_band.is_empty() || about.is_empty() {
        ""
    } else {
        "; "
    };
    text.push_str(&wrapped(
        "             ",
        &format!("{in_band}{between}{about}"),
    ));
    if let Some(cut) = &measurement.cut {
        text.push_str(&cut_lines(cut));
    }
    text
}

/// The steady stretches, and what was left out.
fn cut_lines(cut: &Cut) -> String {
    let mut text = String::new();
    if !cut.stretches.is_empty() {
        text.push_str("  Steady from–to s              deviation %    weighted flutter %\n");
    }
    for one in &cut.stretches {
        let place = format!("{:.1}–{:.1}", one.from.0, one.to.0);
        let deviation = with_uncertainty(one.deviation.0, one.uncertainty.map(|it| it.0), true);
        let flutter = cell(one.weighted_two_sigma, one.weighted_two_sigma_uncertainty);
        let _ = writeln!(text, "    {place:<28}{deviation:<15}{flutter}");
    }
    let run = |name: &str, length: Seconds, end: &str| {
        (length.0 > 0.0).then(|| format!("{name} of {:.1} s at the {end}", length.0))
    };
    let runs = [
        run("run-up", cut.run_up, "start"),
        run("run-down", cut.run_down, "end"),
    ];
    let runs: Vec<String> = runs.into_iter().flatten().collect();
    if !runs.is_empty() {
        let words = format!(
            "from {:.1} to {:.1} s; {} left out",
            cut.from.0,
            cut.to.0,
            runs.join(" and ")
        );
        text.push_str(&wrapped("  Measured   ", &words));
    }
    text
}

fn drift_line(measurement: &Measurement) -> String {
    let Some(drift) = &measurement.drift else {
        return "  Drift      not measured\n".to_owned();
    };
    let span = drift.span.map_or(String::new(), |span| {
        format!(", 5 s means span {} %", cell(Some(span), None))
    });
    let since = if measurement.has(CautionCode::SpeedMoved) {
        ", since the last move"
    } else {
        ""
    };
    format!(
        "  Drift      {} % a minute{span}{since}\n",
        words::drift(drift)
    )
}

/// Start, middle and end of a long record, and whether the speed goes with the
/// place.
fn along_line(measurement: &Measurement) -> String {
    let along = measurement.along.as_ref();
    along.map_or(String::new(), |it| {
        wrapped("  Ends       ", &self::along(it))
    })
}

/// The same for whoever says it elsewhere.
pub(super) fn along(along: &Along) -> String {
    let of = |name: &str, place: &Place| {
        let figure = with_uncertainty(place.deviation.0, Some(place.uncertainty.0), true);
        format!("{name} {figure} %")
    };
    let mut parts = vec![of("start", &along.start)];
    parts.extend(along.middle.iter().map(|middle| of("middle", middle)));
    parts.push(of("end", &along.end));
    let change = with_uncertainty(along.change.0, Some(along.change_uncertainty.0), true);
    let meaning = if along.is_sloping() && along.change.0 < 0.0 {
        "beyond chance; in a battery machine flat cells or a sagging supply come first, over much \
         of a tape take-up tension, holdback tension or the pinch roller"
    } else if along.is_sloping() {
        "beyond chance; over much of a tape that is take-up tension, holdback tension or the \
         pinch roller, over a few minutes also warming up"
    } else {
        "no more than chance"
    };
    format!(
        "{}; {change} % from start to end, {meaning}",
        parts.join(", ")
    )
}

fn flutter_lines(reading: &FlutterReading) -> String {
    let band = reading
        .unweighted_band
        .map_or(String::new(), |[low, high]| {
            format!(", {}–{:.0} Hz", low.0, high.0)
        });
    // The curve of the weighting runs to 200 Hz.
    let weighted_band = reading
        .band_limit
        .filter(|_| reading.weighted_rms.is_some())
        .map_or(String::new(), |limit| format!(", to {limit:.0}"));
    let mut text =
        String::from("  Flutter %                     two-sigma      quasi-peak     RMS\n");
    let mut row = |name: &str, cells: [Option<[Option<Percent>; 2]>; 3]| {
        let [two_sigma, peak, rms] =
            cells.map(|figure| figure.map_or(String::new(), |[value, known]| cell(value, known)));
        let line = format!("    {name:<28}{two_sigma:<15}{peak:<15}{rms}");
        text.push_str(line.trim_end());
        text.push('\n');
    };
    let alone = |value| Some([value, None]);
    let it = reading;
    row(
        &format!("weighted{weighted_band}"),
        [
            Some([it.weighted_two_sigma, it.weighted_two_sigma_uncertainty]),
            Some([it.weighted_peak, it.weighted_peak_uncertainty]),
            Some([it.weighted_rms, it.weighted_rms_uncertainty]),
        ],
    );
    let [two_sigma, rms] = [it.unweighted_two_sigma, it.unweighted_rms].map(alone);
    row(&format!("unweighted{band}"), [two_sigma, None, rms]);
    row("wow, 0.5–6 Hz", [None, None, alone(it.wow_rms)]);
    row("flutter, 6–100 Hz", [None, None, alone(it.flutter_rms)]);
    text
}

fn signal(measurement: &Measurement, contact_breaks: bool) -> String {
    let signal = &measurement.signal;
    let kind = measurement.conditions.kind;
    let carrier = noun(kind);
    let mut parts = Vec::new();
    match signal.level {
        Some(level) => parts.push(format!("{carrier} at {:.1} dBFS", level.0)),
        None => parts.push(format!("no {carrier}")),
    }
    if let Some(snr) = signal.snr {
        parts.push(format!("{:.1} dB above all else", snr.0));
    }
    parts.push(
        match (signal.clipped_samples, measurement.clipped_share()) {
            (0, _) => "not clipped".to_owned(),
            (_, Some(share)) => format!("{:.0} % of it clipped", share.0),
            (count, None) => format!("{} clipped", counted(count, "sample", "samples")),
        },
    );
    // What lasts is no dropout of the tone; "no dropout" beside it would mislead.
    let lost = contact_breaks || measurement.has(CautionCode::ToneLost);
    if kind.has_frequency() && (signal.dropout_count > 0 || !lost) {
        parts.push(dropouts(signal));
    }
    if signal.gaps > 0 {
        parts.push(counted(
            signal.gaps,
            "gap in the input",
            "gaps in the input",
        ));
    }
    parts.join(", ")
}

fn dropouts(signal: &SignalFigures) -> String {
    if signal.dropout_count == 0 {
        return "no dropout".to_owned();
    }
    let listed: Vec<String> = signal
        .dropouts
        .iter()
        .take(DROPOUTS_LISTED)
        .map(|dropout| format!("{} s", places(dropout.start.0, 2).unwrap_or_default()))
        .collect();
    let more = if signal.dropout_count > listed.len() as u64 {
        " …"
    } else {
        ""
    };
    let count = counted(signal.dropout_count, "dropout", "dropouts");
    format!("{count} (at {}{more})", listed.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Caution, Conditions};
    use crate::report::sample;
    use crate::report::words::COLUMNS;

    fn text_of(measurement: &Measurement) -> String {
        block(&FileReport::of(
            "side-a.wav",
            FileResult::Measured(measurement),
        ))
    }

    #[test]
    fn what_decides_comes_first() {
        let text = text_of(&sample::measurement());
        let expected = "\
side-a.wav
  62.4 s, 48000 Hz, both channels
  Speed      -1.232 ±0.012 %  SLOW, OUT BY THIS TAPE
             -21.5 cents, 3111.20 Hz for 3150 Hz
             band ±0.5 % deck
  Drift      +0.021 ±0.015 % a minute, 5 s means span 0.030 %
  Flutter %                     two-sigma      quasi-peak     RMS
    weighted                    0.1210 ±0.0080 0.142 ±0.012   0.0600 ±0.0040
    unweighted, 0.1–200 Hz      0.310                         0.120
    wow, 0.5–6 Hz                                             0.100
    flutter, 6–100 Hz                                         0.050
  Cause      likely nothing but the setting: the speed is steady, and wrong (the
             speed lies outside the band; it is steady). First: let it warm up,
             clean capstan and pinch roller with the power off, then turn the
             trimmer. Unplug first; charged capacitors stay dangerous. Trim or
             open a live machine only if you are trained to. Mark where an
             adjuster stands before you touch it; leave sealed ones alone. Power
             off, ventilate: cleaner burns. None on belts or rubber that it
             attacks; let it dry.
  Signal     tone at -12.1 dBFS, 57.9 dB above all else, not clipped, one
             dropout (at 8.31 s)
  Caution    Nobody has said how true this tape is.
";
        assert_eq!(text, expected);
    }

    #[test]
    fn a_low_tone_states_how_far_its_weighted_figures_reach() {
        let mut low = sample::measurement();
        assert!(!text_of(&low).contains("weighted, to"));
        low.flutter.band_limit = Some(crate::units::Hertz(189.0));
        let text = text_of(&low);
        assert!(text.contains("    weighted, to 189 Hz  "), "{text}");
    }

    #[test]
    fn everything_fits_eighty_columns() {
        let mut measurement = sample::measurement();
        measurement.signal.clipped_samples = 1_234_567;
        measurement.signal.dropout_count = 12_345;
        measurement.signal.gaps = 3;
        let code = measurement.cautions[0].code();
        measurement.cautions[0] = Caution::told(code, "a caution of many words ".repeat(20));
        for measurement in [measurement, sample::without_tone()] {
            let text = text_of(&measurement);
            for line in text.lines() {
                assert!(line.chars().count() <= COLUMNS, "{line}");
            }
        }
    }

    #[test]
    fn no_tone_shows_no_figure() {
        let text = text_of(&sample::without_tone());
        assert!(text.contains("Speed      not measured"), "{text}");
        assert!(!text.contains('%'), "{text}");
        assert!(text.contains("No steady tone"), "{text}");
    }

    #[test]
    fn an_unreadable_file_is_in_the_list() {
        let conditions = Conditions::default();
        let text = block(&FileReport::of(
            "notes.wav",
            FileResult::NotMeasured {
                code: CautionCode::FileUnreadable,
                conditions: &conditions,
                reason: "notes.wav: this is a text file",
            },
        ));
        assert_eq!(text, "notes.wav\n  Not read\n");
    }

    #[test]
    fn lines_and_channels_stand_with_what_they_speak_of() {
        let mut measurement = sample::measurement();
        measurement.lines = Some(sample::lines());
        measurement.channels = Some(sample::channels());
        let text = block(&FileReport::of("a.wav", FileResult::Measured(&measurement)));
        let unwrapped = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for said in [
            "Lines 7.61 turns a second, 0.0520 % ±0.0030 %, 41 % of the flutter: likely capstan",
            "growing; slows 3.1 % a minute; usual up to 0.05 %",
            "Channels L -12.1, R -12.9 dB, left is louder; balance +0.800 dB ±0.050 dB; right 3.20 ±0.10 µs later",
        ] {
            assert!(unwrapped.contains(said), "{said}: {text}");
        }
        let of_wavering = text.contains("likely the capstan");
        assert!(!of_wavering, "what is usual is no fault: {text}");
        let lines = measurement.lines.as_mut().expect("lines");
        lines.lines[0].parts[0].usual = Some(Percent(0.02));
        let text = block(&FileReport::of("a.wav", FileResult::Measured(&measurement)));
        let unwrapped = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(unwrapped.contains("Cause likely the capstan"), "{text}");
        assert!(
            text.contains("First:") && text.contains("Keep hair"),
            "{text}"
        );
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
    }

    #[test]
    fn a_cause_of_the_speed_stands_beside_that_of_what_wavers() {
        let mut measurement = sample::measurement();
        let causes = |it: &Measurement| -> Vec<String> {
            let text = text_of(it);
            let unwrapped = text.split_whitespace().collect::<Vec<_>>().join(" ");
            unwrapped
                .split("Cause ")
                .skip(1)
                .map(str::to_owned)
                .collect()
        };
        let steady = causes(&measurement);
        assert!(
            steady.len() == 1 && steady[0].starts_with("likely nothing but the setting"),
            "{steady:?}"
        );
        assert!(steady[0].contains("Unplug first"), "{steady:?}");
        measurement.lines = Some(sample::lines());
        let lines = measurement.lines.as_mut().expect("lines");
        lines.lines[0].parts[0].usual = Some(Percent(0.01));
        let both = causes(&measurement);
        assert!(
            both.len() == 2 && both[0].starts_with("likely the capstan"),
            "{both:?}"
        );
        // A speed that falls.
        let drift = measurement.drift.as_mut().expect("a drift");
        drift.percent_per_minute = -0.4;
        let falling = causes(&measurement);
        assert!(
            falling[1].starts_with("likely a falling supply"),
            "{falling:?}"
        );
        measurement.speed.as_mut().expect("a speed").deviation = Percent(0.0);
        let drift = measurement.drift.as_mut().expect("a drift");
        drift.percent_per_minute = 0.0;
        assert_eq!(causes(&measurement).len(), 1, "right is no fault");
    }
}
