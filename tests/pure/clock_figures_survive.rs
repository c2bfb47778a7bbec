//! What was measured of a sample clock is never lost: not by an interrupted
//! write, not by damage elsewhere in the file, not by two writers at once.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;

use jiff::Timestamp;
use tapewright::readings::ClockSource;
use tapewright::records::{Against, ClockFigure, Clocks, Fault, LinesError, LinesWarning};
use tapewright::units::{Hertz, Ppm, Seconds};

fn figure(input: &str, error_ppm: f64) -> ClockFigure {
    ClockFigure {
        input: input.to_owned(),
        name: "Invented Line In".to_owned(),
        rate_hz: 48_000,
        error: Ppm(error_ppm),
        uncertainty: Ppm(12.0),
        taken_at: Timestamp::from_second(1_790_000_000).expect("in range"),
        against: Against::SystemClock {
            uncertainty: Ppm(5.0),
            disciplined: true,
        },
        over: Seconds(296.0),
    }
}

fn place() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("deeper/clocks.jsonl");
    (folder, path)
}

fn open(path: &Path) -> (Clocks, Vec<LinesWarning>) {
    Clocks::open(path).expect("it can be read")
}

fn keep(path: &Path, figure: ClockFigure) -> Option<LinesWarning> {
    open(path).0.keep(figure).expect("it can be written")
}

#[test]
fn the_newest_figure_of_an_input_counts() {
    let (_folder, path) = place();
    assert!(open(&path).0.list().is_empty());
    keep(&path, figure("alsa:a", 10.0));
    keep(&path, figure("alsa:b", 20.0));
    let tone = ClockFigure {
        against: Against::Tone {
            frequency: Hertz(10_000.0),
            uncertainty: Ppm(0.1),
            recorded: true,
        },
        ..figure("alsa:a", 11.0)
    };
    keep(&path, tone.clone());
    let (clocks, warnings) = open(&path);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(clocks.list(), [tone.clone(), figure("alsa:b", 20.0)]);
    assert_eq!(clocks.of("alsa:a", 48_000), Some(&tone));
    // Another rate may have another crystal.
    assert_eq!(clocks.of("alsa:a", 44_100), None);
    // Nothing that was there is gone.
    assert_eq!(fs::read_to_string(&path).expect("text").lines().count(), 3);
}

#[test]
fn a_forgotten_figure_no_longer_counts() {
    let (_folder, path) = place();
    keep(&path, figure("alsa:a", 10.0));
    keep(&path, figure("alsa:b", 20.0));
    open(&path).0.forget("alsa:a").expect("it can be written");
    assert_eq!(open(&path).0.list(), [figure("alsa:b", 20.0)]);
    keep(&path, figure("alsa:a", 30.0));
    let (clocks, _) = open(&path);
    assert_eq!(clocks.of("alsa:a", 48_000), Some(&figure("alsa:a", 30.0)));
}

#[test]
fn what_is_applied_allows_for_other_days() {
    let clock = figure("alsa:a", 10.0).sample_clock();
    assert_eq!(clock.error, Ppm(10.0));
    // 12 and 5 in quadrature.
    assert!((clock.uncertainty.0 - 13.0).abs() < 1e-9, "{clock:?}");
    assert_eq!(clock.source, ClockSource::Measured);
}

#[test]
fn a_torn_last_line_is_set_aside_and_all_others_stay() {
    let (_folder, path) = place();
    keep(&path, figure("alsa:a", 10.0));
    let whole = fs::read(&path).expect("bytes");
    keep(&path, figure("alsa:b", 20.0));
    let both = fs::read(&path).expect("bytes");
    // Every place at which a write may have stopped.
    for cut in whole.len() + 1..both.len() - 1 {
        fs::write(&path, &both[..cut]).expect("room");
        let (clocks, warnings) = open(&path);
        assert_eq!(clocks.list(), [figure("alsa:a", 10.0)], "{cut}");
        assert!(matches!(
            warnings[..],
            [LinesWarning {
                line: 2,
                fault: Fault::Torn,
                ..
            }]
        ));
        let warning = keep(&path, figure("alsa:c", 30.0));
        assert!(
            matches!(
                warning,
                Some(LinesWarning {
                    fault: Fault::SetAside,
                    ..
                })
            ),
            "{cut}"
        );
        let (clocks, warnings) = open(&path);
        assert!(warnings.is_empty(), "{warnings:?}");
        let expected = [figure("alsa:a", 10.0), figure("alsa:c", 30.0)];
        assert_eq!(clocks.list(), expected, "{cut}");
    }
    let torn = fs::read(path.with_extension("jsonl.torn")).expect("set aside");
    assert!(torn.starts_with(b"{\n{\"\n"));
}

#[test]
fn damage_and_newer_lines_are_reported_and_left() {
    let (_folder, path) = place();
    keep(&path, figure("alsa:a", 10.0));
    let good = fs::read_to_string(&path).expect("text");
    let impossible = good.replace("alsa:a", "alsa:x").replace("10.0", "1e9");
    let newer = good
        .replace("alsa:a", "alsa:y")
        .replace("clock/1", "clock/2");
    let written = format!("{good}\u{0}\u{0}rubbish\n{impossible}{newer}");
    fs::write(&path, &written).expect("room");
    let (clocks, warnings) = open(&path);
    assert_eq!(clocks.list(), [figure("alsa:a", 10.0)]);
    let [
        LinesWarning {
            line: 2,
            fault: Fault::Damaged { .. },
            ..
        },
        LinesWarning {
            line: 3,
            fault: Fault::Damaged { .. },
            ..
        },
        LinesWarning {
            line: 4,
            fault: Fault::Newer { schema },
            ..
        },
    ] = &warnings[..]
    else {
        panic!("{warnings:?}");
    };
    assert_eq!(schema, "tapewright.clock/2");
    keep(&path, figure("alsa:b", 20.0));
    let now = fs::read_to_string(&path).expect("text");
    assert!(now.starts_with(&written), "{now}");
}

#[test]
fn a_file_of_something_else_is_left_alone() {
    let (folder, _) = place();
    let path = folder.path().join("letter.txt");
    fs::write(&path, "Dear customer,\n").expect("room");
    let error = Clocks::open(&path).expect_err("no clocks");
    assert!(
        matches!(error, LinesError::OfSomethingElse { .. }),
        "{error}"
    );
    assert_eq!(fs::read(&path).expect("bytes"), b"Dear customer,\n");
}

#[test]
fn a_figure_that_is_no_number_is_not_written() {
    let (_folder, path) = place();
    keep(&path, figure("alsa:a", 10.0));
    let before = fs::read(&path).expect("bytes");
    for bad in [f64::NAN, f64::INFINITY, 1e6] {
        let error = open(&path).0.keep(figure("alsa:a", bad));
        let refused = matches!(error, Err(LinesError::Unwritable { .. }));
        assert!(refused, "{bad}");
    }
    assert_eq!(fs::read(&path).expect("bytes"), before);
}

#[test]
fn two_writers_at_once_lose_nothing() {
    let (_folder, path) = place();
    thread::scope(|scope| {
        for writer in 0..4 {
            let path = &path;
            scope.spawn(move || {
                for n in 0..25 {
                    keep(path, figure(&format!("alsa:{writer}-{n}"), f64::from(n)));
                }
            });
        }
    });
    let (clocks, warnings) = open(&path);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(clocks.list().len(), 100);
}

#[test]
fn what_every_version_wrote_is_read() {
    let (_folder, path) = place();
    fs::create_dir_all(path.parent().expect("a folder")).expect("room");
    let frozen = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/records/clock-1.jsonl");
    fs::copy(frozen, &path).expect("room");
    let (clocks, warnings) = open(&path);
    assert!(warnings.is_empty(), "{warnings:?}");
    let kept: Vec<(&str, f64)> = (clocks.list().iter())
        .map(|it| (it.input.as_str(), it.error.0))
        .collect();
    let expected = [
        ("alsa:hw:CARD=A,DEV=0", -12.5),
        ("alsa:b", 3.5),
        ("alsa:c", 1.5),
    ];
    assert_eq!(kept, expected);
}

#[test]
fn a_line_with_a_key_misspelt_is_damaged_and_not_newer() {
    let (_folder, path) = place();
    keep(&path, figure("alsa:a", 10.0));
    let good = fs::read_to_string(&path).expect("text");
    fs::write(&path, good.replace("rate_hz", "rate")).expect("room");
    let (clocks, warnings) = open(&path);
    assert!(clocks.list().is_empty());
    assert!(matches!(
        warnings[..],
        [LinesWarning {
            line: 1,
            fault: Fault::Damaged { .. },
            ..
        }]
    ));
    assert!(warnings[0].to_string().contains("rate_hz"), "{warnings:?}");
}
