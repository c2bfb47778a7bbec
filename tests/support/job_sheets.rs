//! Jobs for tests of their sheets. Every figure in them is invented.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use tapewright::readings::{
    BadSpot, Caution, CautionCode, Direction, FlutterLine, FlutterLines, LikelyPart, LineMotion,
    Measurement, Pass, Position, SpotKind, SpotSeen, SweepPicture, SweepReport, SweepVerdict,
    Track,
};
use tapewright::records::{About, Entry, JobFile, Label, Run, Snapshot};
use tapewright::units::{Hertz, Percent, Seconds};

use super::invented;

/// A speed with some wow, and lines.
pub fn measurement(deviation: f64, wow: f64) -> Measurement {
    let mut measurement = invented::measurement();
    let speed = measurement.speed.as_mut().expect("a speed");
    speed.deviation = Percent(deviation);
    speed.measured = Some(Hertz(3150.0 * (1.0 + deviation / 100.0)));
    measurement.flutter.weighted_two_sigma = Some(Percent(wow));
    measurement.flutter.weighted_peak = Some(Percent(1.2 * wow));
    let at = |nth: i32| f64::from(nth) * 0.1;
    let wave = |time: f64| wow * (TAU * 0.55 * time).sin() + 0.3 * wow * (TAU * 2.3 * time).cos();
    measurement.track = Some(Track {
        from: Seconds(0.0),
        step: Seconds(0.1),
        speed: (0..600)
            .map(|nth| (nth % 211 > 5).then(|| Percent(deviation + wave(at(nth)))))
            .collect(),
        flutter: (0..600)
            .map(|nth| (nth > 40).then(|| Percent(wow * (1.0 + 0.2 * (0.9 * at(nth)).sin()))))
            .collect(),
    });
    measurement.lines = Some(lines(wow, 1.0 + deviation / 100.0));
    measurement
}

/// Parts turn as fast as the tape runs.
fn lines(wow: f64, ratio: f64) -> FlutterLines {
    let line = |hz: f64, peak: f64, share: f64, part: Option<&str>| FlutterLine {
        hz: Hertz(hz * ratio),
        hz_uncertainty: Hertz(0.002),
        peak: Percent(peak),
        peak_uncertainty: Percent(0.003),
        weighted_share: share,
        motion: LineMotion::Turns,
        course: None,
        chirp: None,
        windows: Vec::new(),
        parts: part
            .map(|name| LikelyPart {
                name: name.to_owned(),
                harmonic: 1,
                likelihood: 0.95,
                usual: None,
            })
            .into_iter()
            .collect(),
    };
    FlutterLines {
        lines: vec![
            line(6.08, 0.7 * wow, 0.48, Some("capstan")),
            line(1.21, 0.5 * wow, 0.2, Some("pinch roller")),
            line(26.6, 0.1 * wow, 0.08, None),
        ],
        card: Some("bench deck".to_owned()),
        ..invented::lines()
    }
}

/// A trimmer that was turned out and back twice, with a bad place or without.
pub fn sweep(bad: bool) -> SweepReport {
    let time = |nth: i32| f64::from(nth) * 0.1;
    let speed = |nth: i32| {
        let smooth = 4.0 * (TAU * time(nth) / 20.0).sin();
        let is_on_it = bad && (smooth + 0.8).abs() < 0.3;
        Some(Percent(if is_on_it { smooth + 1.4 } else { smooth }))
    };
    let pass = |nth: f64, direction| Pass {
        from: Seconds(10.0 * nth),
        to: Seconds(10.0 * nth + 10.0),
        direction,
    };
    let passes = [0.0, 1.0, 2.0, 3.0].map(|nth| {
        let up = nth as i32 % 2 == 0;
        pass(nth, if up { Direction::Up } else { Direction::Down })
    });
    let spot = BadSpot {
        at: Percent(-0.8),
        depth: Some(Percent(1.4)),
        kind: SpotKind::Jump,
        seen: SpotSeen::Both,
        times: [10.6, 19.4, 30.6, 39.4].map(Seconds).to_vec(),
    };
    SweepReport {
        verdict: if bad {
            SweepVerdict::Erratic
        } else {
            SweepVerdict::Smooth
        },
        lasted: Seconds(40.0),
        passes: passes.to_vec(),
        range: Some([Percent(-4.0), Percent(4.0)]),
        bad_spots: if bad { vec![spot] } else { Vec::new() },
        smallest_seen: Some(Percent(0.2)),
        band: Some(Percent(0.5)),
        evidence: 2.0,
        picture: SweepPicture {
            step: Seconds(0.1),
            speed: (0..400).map(speed).collect(),
        },
        ..SweepReport::default()
    }
}

/// A job in the folder for jobs of a data folder, which is made of pieces.
pub struct Bench {
    pub file: JobFile,
    minute: i64,
}

impl Bench {
    pub fn new(data: &Path, file: &str, name: &str, simulated: bool) -> Self {
        let folder = if simulated { "rehearsals" } else { "jobs" };
        let path = data.join(folder).join(format!("{file}.jsonl"));
        let (file, _) = JobFile::open(path).expect("free");
        let mut bench = Self { file, minute: 0 };
        let name = name.to_owned();
        bench.add(Entry::Opened { name, simulated });
        bench
    }

    pub fn add(&mut self, entry: Entry) {
        self.file.add(entry).expect("room");
    }

    pub fn note(&mut self, text: &str) {
        self.add(Entry::Note(text.to_owned()));
    }

    pub fn path(&self) -> PathBuf {
        self.file.path().to_owned()
    }

    /// A minute later than the one before.
    pub fn snapshot(&mut self, label: Label, of: Measurement, change: impl FnOnce(&mut Snapshot)) {
        let mut snapshot = Snapshot::new(label, "line in", of);
        snapshot.machine = self.file.job().machine().map(str::to_owned);
        snapshot.simulated = self.file.job().simulated;
        let begin: jiff::Timestamp = "2026-03-01T11:05:00Z".parse().expect("a time");
        self.minute += 7;
        snapshot.taken_at = begin + jiff::SignedDuration::from_mins(self.minute);
        snapshot.tolerance = Some(Percent(0.5));
        change(&mut snapshot);
        self.add(Entry::Snapshot(Box::new(snapshot)));
    }

    /// Everything that a job can hold of one machine at one speed.
    pub fn whole(data: &Path, file: &str) -> Self {
        let mut bench = Self::new(data, file, "2026-03-01 deck 4", false);
        let machine = [
            (About::Machine, "deck 4"),
            (About::Serial, "0042-17"),
            (About::OwnerNote, "Invented. Sounds tired, worse when warm"),
            (About::Supply, "mains"),
        ];
        for (about, is) in machine {
            bench.file.say(about, is).expect("room");
        }
        bench.snapshot(Label::Before, measurement(-1.2, 0.16), |it| {
            it.tape = Some("bench tape 3150".to_owned());
        });
        bench.add(Entry::Wiper(Box::new(sweep(true))));
        bench.note("Speed trimmer cleaned, power off and plug pulled");
        bench.add(Entry::Wiper(Box::new(sweep(false))));
        bench.note("New belt, invented part 12; capstan and pinch roller cleaned");
        bench.snapshot(Label::After, measurement(0.05, 0.06), |it| {
            it.tape = Some("bench tape 3150".to_owned());
        });
        bench.places_and_voltages();
        bench
    }

    fn places_and_voltages(&mut self) {
        for (position, deviation) in Position::ALL.into_iter().zip([0.08, 0.05, -0.02]) {
            let label = Label::Named(position.name().to_owned());
            self.snapshot(label, measurement(deviation, 0.06), |it| {
                it.position = Some(position);
            });
        }
        for (volts, deviation) in [(6.0, 0.05), (5.4, 0.04), (4.5, -0.01)] {
            let label = Label::Named(format!("supply {volts} V"));
            self.snapshot(label, measurement(deviation, 0.06), |it| {
                it.supply_volts = Some(volts);
            });
        }
    }

    /// Figures at the ends of what there may be: a thousandth of a percent and
    /// thirty, a ± wider than all, another tape, another band.
    pub fn extreme(data: &Path, file: &str) -> Self {
        let mut bench = Self::new(data, file, "extreme figures", false);
        for (nth, [was, is]) in [[30.0, 0.001], [-30.0, 0.499], [-2.8, 2.8]]
            .into_iter()
            .enumerate()
        {
            for (label, deviation, band) in [(Label::Before, was, 0.5), (Label::After, is, 3.0)] {
                let mut of = measurement(deviation, if nth == 1 { 9.0 } else { 0.001 });
                let speed = of.speed.as_mut().expect("a speed");
                speed.uncertainty_with_reference = (nth == 2).then_some(Percent(3.5));
                if nth == 0 {
                    speed.uncertainty = None;
                }
                bench.snapshot(label, of, |it| {
                    it.tape = Some(format!("tape {band}"));
                    it.tolerance = Some(Percent(band));
                    it.run = Some(Run {
                        speed_cm_s: Some(nth as f64 + 4.76),
                        direction: None,
                    });
                });
            }
        }
        bench
    }

    /// Two speeds, the second one of them not finished.
    pub fn of_two_speeds(data: &Path, file: &str) -> Self {
        let mut bench = Self::new(data, file, "two speeds", false);
        let run = |speed_cm_s| {
            move |it: &mut Snapshot| {
                it.run = Some(Run {
                    speed_cm_s: Some(speed_cm_s),
                    direction: None,
                });
            }
        };
        bench.snapshot(Label::Before, measurement(2.1, 0.2), run(19.05));
        bench.snapshot(Label::After, measurement(0.1, 0.05), run(19.05));
        bench.snapshot(Label::Before, measurement(-0.9, 0.1), run(9.53));
        bench
    }
}

/// Words that would do harm where they are not guarded.
pub const HOSTILE: [&str; 6] = [
    "<script>alert(1)</script>",
    "\" onload=\"alert(1)\" x=\"",
    "</style><img src=x onerror=alert(1)>",
    "a\u{1b}[2J\u{9b}31mb\u{7}",
    "\u{202e}gnihton\u{2066}",
    "one\ntwo\r\n\u{ffff}\u{0}z\u{300}\u{300}\u{300} 🛠 ]]> --> | `x` [y](javascript:z)",
];

impl Bench {
    /// As much as there may be of everything, under hostile and endless names:
    /// a hundred measurements at so many speeds.
    pub fn crowded(data: &Path, file: &str, speeds: usize) -> Self {
        let nth_name = |nth: usize| HOSTILE[nth % HOSTILE.len()];
        let mut bench = Self::new(data, file, &"W".repeat(10_000), true);
        bench
            .file
            .say(About::Machine, &HOSTILE.join(" "))
            .expect("room");
        let longest = "nöte ".repeat(2000);
        bench.file.say(About::OwnerNote, &longest).expect("room");
        for nth in 0..100 {
            let label = match nth % 4 {
                0 | 2 => Label::Before,
                1 => Label::After,
                _ => Label::Named(nth_name(nth).repeat(30)),
            };
            let mut of = measurement(-1.2 + 0.02 * nth as f64, 0.1);
            of.channels = Some(invented::channels());
            for line in &mut of.lines.as_mut().expect("lines").lines {
                for part in &mut line.parts {
                    part.name = nth_name(nth).repeat(100);
                }
            }
            for more in 0..20 {
                let text = format!("{} {more} {}", nth_name(nth), "x".repeat(3 * nth + 60));
                of.cautions.push(Caution::told(CautionCode::Hum, text));
            }
            bench.snapshot(label, of, |it| {
                it.note = Some(format!("{nth} {}", nth_name(nth).repeat(100)));
                it.source = nth_name(nth + 1).repeat(200);
                it.tape = Some(nth_name(nth + 2).repeat(200));
                it.run = Some(Run {
                    speed_cm_s: Some((nth / 2 % speeds + 1) as f64),
                    direction: Some(tapewright::records::Direction::Reverse),
                });
            });
        }
        for nth in 0..30 {
            bench.note(&format!("{nth} {}", "n".repeat(10_000)));
            bench.add(Entry::Wiper(Box::new(sweep(nth % 2 == 0))));
            bench
                .file
                .say(About::Serial, &nth_name(nth).repeat(50 + nth))
                .expect("room");
        }
        bench.places_and_voltages();
        bench
    }
}
