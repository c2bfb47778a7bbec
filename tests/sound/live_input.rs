//! A live input through a real sound server: it runs at the pace of the
//! clock, its loss is reported within a second, and it is taken again when it
//! is back.

use std::f64::consts::TAU;
use std::process::Stdio;
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

use crate::support::environment::in_private_environment;
use crate::support::program::program;
use crate::support::sound_server::{SoundServer, with_sound_server};
use tapewright::audio::analysis::{Analysis, LiveState, SourceState};
use tapewright::audio::feed::FillSamples;
use tapewright::audio::ring::{Popped, RingReader};
use tapewright::audio::source::{SourceEvent, StreamFormat};
use tapewright::audio::{Direction, SoundError, devices, input, output};
use tapewright::readings::{ChannelChoice, ClockSource, Conditions, SampleClock, Target};
use tapewright::units::{Percent, Ppm};

/// What the virtual deck plays: 1 % below 3150 Hz.
const TONE_HZ: f64 = 3118.5;

struct Connection {
    format: StreamFormat,
    reader: RingReader,
    name: String,
}

fn connection(events: &Receiver<SourceEvent>, limit: Duration) -> Connection {
    match events.recv_timeout(limit).expect("an event") {
        SourceEvent::Connected {
            format,
            reader,
            name,
            ..
        } => Connection {
            format,
            reader,
            name,
        },
        SourceEvent::Lost { reason } | SourceEvent::Failed { reason } => {
            panic!("not connected: {reason}")
        }
        SourceEvent::Ended => panic!("a live input does not end"),
    }
}

impl Connection {
    /// Left channel of what comes in for so long, and how many gaps.
    fn listen(&mut self, time: Duration) -> (Vec<f32>, usize) {
        let channels = usize::from(self.format.channels);
        let mut left = Vec::new();
        let mut gaps = 0;
        let mut buffer = [0.0; 4096];
        let until = Instant::now() + time;
        while Instant::now() < until {
            match self.reader.pop(&mut buffer) {
                Popped::Samples(count) => {
                    left.extend(buffer[..count].iter().step_by(channels));
                }
                Popped::Gap(_) => gaps += 1,
                Popped::Empty => thread::sleep(Duration::from_millis(2)),
            }
        }
        (left, gaps)
    }

    /// Waits until the tone is in, then measures its frequency.
    fn tone_hz(&mut self) -> f64 {
        let limit = Instant::now() + Duration::from_secs(10);
        loop {
            let (left, _) = self.listen(Duration::from_millis(200));
            let quietest = left.chunks(480).map(peak).fold(f32::MAX, f32::min);
            if quietest > 0.3 {
                break;
            }
            assert!(
                Instant::now() < limit,
                "no tone came in, but {quietest} at most"
            );
        }
        let (left, gaps) = self.listen(Duration::from_secs(2));
        assert_eq!(gaps, 0);
        frequency_hz(&left, f64::from(self.format.rate_hz))
    }
}

fn peak(samples: &[f32]) -> f32 {
    samples
        .iter()
        .fold(0.0, |peak, sample| peak.max(sample.abs()))
}

/// From the first to the last rising zero crossing, each interpolated.
fn frequency_hz(samples: &[f32], rate_hz: f64) -> f64 {
    let crossings: Vec<f64> = samples
        .windows(2)
        .enumerate()
        .filter(|(_, pair)| pair[0] < 0.0 && pair[1] >= 0.0)
        .map(|(n, pair)| n as f64 + f64::from(pair[0]) / f64::from(pair[0] - pair[1]))
        .collect();
    let (first, last) = (crossings[0], crossings[crossings.len() - 1]);
    (crossings.len() - 1) as f64 * rate_hz / (last - first)
}

fn runs_is_lost_and_returns(mut server: SoundServer, input: Option<&str>) {
    let player = server.play_tone(TONE_HZ, 60);
    let (send, events) = mpsc::channel();
    let live = input::start(input, send).expect("the monitor opens");
    let mut connection_1 = connection(&events, Duration::from_secs(1));
    assert_eq!(connection_1.name, live.name());
    assert_eq!(connection_1.format.channels, 2);
    let rate_hz = f64::from(connection_1.format.rate_hz);

    // At the pace of the clock.
    connection_1.listen(Duration::from_millis(300));
    let start = Instant::now();
    let (left, gaps) = connection_1.listen(Duration::from_secs(2));
    let expected = start.elapsed().as_secs_f64() * rate_hz;
    let frames = left.len() as f64;
    assert!(
        (frames / expected - 1.0).abs() < 0.1,
        "{frames} of {expected}"
    );
    assert_eq!(gaps, 0);
    assert_eq!(connection_1.reader.lost_frames(), 0);
    let heard_hz = connection_1.tone_hz();
    assert!((heard_hz - TONE_HZ).abs() < 0.2, "{heard_hz} Hz");

    // Lost within a second.
    let killed = Instant::now();
    server.kill();
    drop(player);
    let lost = events
        .recv_timeout(Duration::from_secs(5))
        .expect("an event");
    let SourceEvent::Lost { reason } = lost else {
        panic!("the loss was not reported");
    };
    assert!(
        killed.elapsed() < Duration::from_secs(1),
        "{:?}",
        killed.elapsed()
    );
    assert!(reason.contains(live.name()), "{reason}");

    // Nothing comes, and nothing else is taken, while it is away.
    assert!(events.recv_timeout(Duration::from_secs(2)).is_err());

    // Back when it is back.
    server.restart();
    let _player = server.play_tone(TONE_HZ, 60);
    let mut connection_2 = connection(&events, Duration::from_secs(10));
    assert_eq!(connection_2.name, connection_1.name);
    let heard_hz = connection_2.tone_hz();
    assert!((heard_hz - TONE_HZ).abs() < 0.2, "{heard_hz} Hz");

    // Ends when nobody wants it any more.
    drop(live);
    match events.recv_timeout(Duration::from_secs(5)) {
        Err(mpsc::RecvTimeoutError::Disconnected) => {}
        Err(mpsc::RecvTimeoutError::Timeout) => panic!("the source did not end"),
        Ok(_) => panic!("an event after the end"),
    }
}

#[test]
fn the_default_input_is_lost_and_returns() {
    with_sound_server(&[], |server| {
        runs_is_lost_and_returns(server, None);
    });
}

/// Behind a default stands whatever the sound settings say now, and its name
/// does not tell.
#[test]
fn what_comes_back_as_the_default_may_be_another_and_begins_anew() {
    with_sound_server(&[], |mut server| {
        let player = server.play_tone(TONE_HZ, 120);
        let measured = SampleClock {
            error: Ppm(40.0),
            uncertainty: Ppm(5.0),
            source: ClockSource::Measured,
        };
        let (send, events) = mpsc::channel();
        let _live = input::start(None, send).expect("the monitor opens");
        let analysis = Analysis::start(
            events,
            Conditions::default(),
            ChannelChoice::Auto,
            Percent(0.5),
            Target::Frequency,
            Some(Box::new(move |_| measured)),
            None,
        )
        .expect("a thread");
        let wait_for = |what: &str, wanted: &dyn Fn(&LiveState) -> bool| {
            let until = Instant::now() + Duration::from_secs(20);
            loop {
                let state = analysis.newest();
                if wanted(&state) {
                    return state;
                }
                assert!(Instant::now() < until, "{what}: {state:?}");
                thread::sleep(Duration::from_millis(20));
            }
        };
        let heard = |state: &LiveState, since: f64| {
            let at = state.reading.as_ref().map(|reading| reading.at.0);
            matches!(state.source, SourceState::Running { .. }) && at > Some(since)
        };
        let before = wait_for("it runs", &|state| heard(state, 3.0));
        assert_eq!(before.clock, Some(measured));
        server.kill();
        drop(player);
        wait_for("it is lost", &|state| {
            matches!(state.source, SourceState::Lost { .. })
        });
        server.restart();
        let after = wait_for("it runs again", &|state| heard(state, 0.0));
        let reading = after.reading.as_ref().expect("just seen");
        assert!(reading.at.0 < 2.0, "it counts on: {:?}", reading.at);
        assert_eq!(reading.signal.gaps, 0);
        assert_eq!(after.clock, Some(SampleClock::default()));
    });
}

#[test]
fn a_named_input_is_lost_and_returns() {
    with_sound_server(&[], |server| {
        // A plugin that is not listed is still known by its id.
        runs_is_lost_and_returns(server, Some("alsa:pulse"));
    });
}

#[test]
fn an_input_named_by_the_beginning_of_its_name_opens() {
    with_sound_server(&[], |_server| {
        let (send, events) = mpsc::channel();
        let live = input::start(Some("default au"), send).expect("the monitor opens");
        let connected = connection(&events, Duration::from_secs(1));
        assert_eq!(connected.name, "Default Audio Device");
        assert_eq!(connected.name, live.name());
    });
}

#[test]
fn what_is_not_there_is_told_with_what_is() {
    with_sound_server(&[], |mut server| {
        let (send, _events) = mpsc::channel();
        let error = input::start(Some("no such input"), send.clone()).expect_err("no such input");
        assert!(matches!(error, SoundError::Unknown { .. }), "{error:?}");
        assert!(error.to_string().contains("alsa:default"), "{error}");

        // No input at all is another matter, and a named one never becomes it.
        server.kill();
        let error = input::start(None, send.clone()).expect_err("no input at all");
        assert_eq!(error, SoundError::NoInput);
        let error = input::start(Some("default au"), send).expect_err("no input at all");
        assert!(
            matches!(
                error,
                SoundError::Unknown {
                    direction: Direction::Input,
                    ..
                }
            ),
            "{error:?}"
        );
        assert!(devices::list().inputs.is_empty());
    });
}

#[test]
fn a_tone_played_out_comes_back_in() {
    with_sound_server(&[], |_server| {
        let (send, events) = mpsc::channel();
        let _live = input::start(None, send).expect("the monitor opens");
        let mut connection = connection(&events, Duration::from_secs(1));
        let seconds = 4.0;
        let player = thread::spawn(move || {
            let start = Instant::now();
            let make = move |format: StreamFormat| -> FillSamples {
                let channels = usize::from(format.channels);
                let step = TAU * 3150.0 / f64::from(format.rate_hz);
                let frames = (seconds * f64::from(format.rate_hz)) as u64;
                let mut frame = 0;
                Box::new(move |buffer| {
                    for slot in buffer.chunks_exact_mut(channels) {
                        if frame < frames {
                            slot.fill(0.5 * (step * frame as f64).sin() as f32);
                            frame += 1;
                        }
                    }
                    frame < frames
                })
            };
            let mut progress = Vec::new();
            let played = output::play(None, make, |played| {
                progress.push(played.0);
                true
            })
            .expect("the virtual output plays");
            assert_eq!(played.breaks, 0);
            assert!(played.time.0 >= seconds, "{played:?}");
            (start.elapsed().as_secs_f64(), progress)
        });
        let heard_hz = connection.tone_hz();
        assert!((heard_hz - 3150.0).abs() < 0.2, "{heard_hz} Hz");
        let (took_s, progress) = player.join().expect("playing ends");
        assert!((seconds..seconds + 2.0).contains(&took_s), "{took_s} s");
        assert!(progress.is_sorted() && progress.len() > 20, "{progress:?}");
    });
}

/// A plugin that reads a file, as fast as it can be read.
const FILE_AS_INPUT: &str = "\
</usr/share/alsa/alsa.conf>
pcm.!default { type file  slave.pcm null  file /dev/null  infile FOLDER/samples.raw  format raw }
";

#[test]
fn an_input_that_is_too_fast_is_counted_and_marked() {
    in_private_environment(&[], FILE_AS_INPUT, |folder| {
        std::fs::write(folder.join("samples.raw"), vec![0; 64 << 20]).expect("a file");
        let (send, events) = mpsc::channel();
        let live = input::start(None, send).expect("the file opens");
        let mut connection = connection(&events, Duration::from_secs(1));
        let (left, gaps) = connection.listen(Duration::from_millis(500));
        drop(live);
        let lost = connection.reader.lost_frames();
        assert!(lost > 0, "{} frames were all read in time", left.len());
        assert!(gaps > 0, "{lost} frames lost without a mark");
    });
}

/// Telephone samples, which nothing here converts.
const UNKNOWN_FORMAT: &str = "\
</usr/share/alsa/alsa.conf>
pcm.!default { type mulaw  slave { pcm null  format S16_LE } }
";

#[test]
fn an_input_without_a_known_format_is_refused() {
    in_private_environment(&[], UNKNOWN_FORMAT, |_| {
        let (send, _events) = mpsc::channel();
        let error = input::start(None, send).expect_err("no format");
        assert!(
            matches!(error, SoundError::NoUsableFormat { .. }),
            "{error:?}"
        );
    });
}

#[test]
fn channels_beyond_the_second_are_heard_where_they_are_asked_for() {
    with_sound_server(&[], |server| {
        let _player = server.play_four_tones([400.0, 700.0, 1000.0, 3150.0], 120);
        for (pick, channels, hz) in [("3,4", 2, 1000.0), ("4,3", 2, 3150.0), ("3", 1, 1000.0)] {
            let (send, events) = mpsc::channel();
            let taken = Some(pick.parse().expect("numbers"));
            let _live = input::start_taking(None, taken, send).expect("the monitor opens");
            let mut connection = connection(&events, Duration::from_secs(1));
            assert_eq!(connection.format.channels, channels, "{pick}");
            let heard_hz = connection.tone_hz();
            assert!((heard_hz - hz).abs() < 0.2, "{pick}: {heard_hz} Hz");
        }
        // The highest number that can be typed is odd.
        for beyond in ["60", "65535"] {
            let (send, _events) = mpsc::channel();
            let taken = Some(beyond.parse().expect("a number"));
            let refused = input::start_taking(None, taken, send);
            let refused = refused.expect_err("there is no such channel");
            assert!(
                matches!(refused, SoundError::TooFewChannels { .. }),
                "{beyond}: {refused}"
            );
        }
    });
}

#[test]
fn a_tone_that_is_played_ends_soon_after_its_output_hangs() {
    with_sound_server(&[], |server| {
        let mut command = program("tone --play --seconds 120");
        let silent = command.stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = silent.spawn().expect("it starts");
        thread::sleep(Duration::from_secs(4));
        assert!(child.try_wait().expect("a child").is_none(), "it plays");
        server.stall(true);
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = child.try_wait().expect("a child") {
                break status;
            }
            if begun.elapsed() > Duration::from_secs(10) {
                child.kill().expect("it can be ended");
                panic!("it has not noticed within 10 s");
            }
            thread::sleep(Duration::from_millis(50));
        };
        assert_eq!(status.code(), Some(5));
        server.stall(false);
    });
}
