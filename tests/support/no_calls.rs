//! The callbacks call nothing of the system: the kernel ends the program at the
//! first call, whoever makes it and however deep. A lock that is free makes no
//! call; so other threads are at all that is shared meanwhile, and whoever waited
//! for one of them would have to call. That it would be seen is tried too.

use std::os::unix::process::ExitStatusExt;
use std::process::{Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use cpal::ErrorKind;
use seccompiler::{BpfProgram, SeccompAction, SeccompFilter};
use tapewright::audio::callback::{CallbackSink, FORMATS, SignsOfLife};
use tapewright::audio::feed::{Feed, Progress};
use tapewright::audio::ring::ring;

use super::sample_formats::{Steps, by_format};
use super::{LENGTHS, Player, StreamFormat, copy, of_channels, ticks, tone};

const NAME: &str = "no_calls::the_callbacks_call_nothing_of_the_system";
/// Tells the child what to try.
const WHAT: &str = "TAPEWRIGHT_NO_CALLS";
/// The kernel refuses filters here.
const NO_FILTER: i32 = 77;
/// The callbacks did not come to their end.
const ENDLESS: i32 = 78;
/// For what takes seconds.
const PATIENCE: Duration = Duration::from_secs(120);
/// A call that the filter does not allow, as Linux numbers it.
const SIGSYS: i32 = 31;
const ROUNDS: usize = 150;

type Work = Box<dyn FnMut(usize) + Send>;

/// Both sides of everything that is shared.
#[derive(Default)]
struct Sides {
    callbacks: Vec<Work>,
    others: Vec<Work>,
}

impl Sides {
    fn of_all() -> Self {
        let mut sides = Self::default();
        for format in FORMATS {
            by_format!(format, add_input(&mut sides));
            for player in [ticks, copy, tone] {
                by_format!(format, add_output(&mut sides, player));
            }
        }
        sides
    }
}

fn add_input<T: Steps>(sides: &mut Sides) {
    let (writer, mut reader) = ring(1000, 2);
    let signs = Arc::new(SignsOfLife::default());
    let mut sink = CallbackSink::new(writer, of_channels(2), Arc::clone(&signs));
    let samples = vec![T::at(1); 10_000].into_boxed_slice();
    let (start, noting) = (Instant::now(), Arc::clone(&signs));
    sides.callbacks.push(Box::new(move |n| {
        sink.take(&samples[..2 * LENGTHS[n % LENGTHS.len()]], start);
        noting.note_error(ErrorKind::BackendError);
    }));
    let mut buffer = vec![0.0; 700];
    sides.others.push(Box::new(move |_| {
        reader.pop(&mut buffer);
        reader.pop_arrival();
        signs.report_missing(1);
        signs.note_error(ErrorKind::Xrun);
    }));
}

fn add_output<T: Steps>(sides: &mut Sides, player: fn(StreamFormat) -> Player) {
    let (fill, tell) = player(of_channels(2));
    let progress = Arc::new(Progress::default());
    let mut feed = Feed::new(fill, of_channels(2), progress);
    let mut block = vec![T::at(1); 10_000].into_boxed_slice();
    sides.callbacks.push(Box::new(move |n| {
        let frames = LENGTHS[n % LENGTHS.len()];
        feed.give(&mut block[..2 * frames], Duration::ZERO);
    }));
    sides.others.push(tell);
}

/// In the child: the callbacks' side under the filter, the others' beside it.
fn child(what: &str) -> ! {
    static DONE: AtomicBool = AtomicBool::new(false);
    let Some(filter) = filter() else {
        std::process::exit(NO_FILTER);
    };
    let mut sides = Sides::of_all();
    match what {
        "writing" => sides.callbacks.push(Box::new(|_| eprint!("."))),
        "a lock" => {
            let one = Arc::new(Mutex::new(()));
            for side in [&mut sides.callbacks, &mut sides.others] {
                for work in side {
                    let lock = Arc::clone(&one);
                    let mut within = std::mem::replace(work, Box::new(|_| {}));
                    *work = Box::new(move |n| {
                        let _held = lock.lock();
                        within(n);
                    });
                }
            }
        }
        _ => {}
    }
    let Sides {
        mut callbacks,
        others,
    } = sides;
    let half = others.len() / 2;
    let mut others = others.into_iter();
    for _ in 0..2 {
        let mut these: Vec<Work> = others.by_ref().take(half).collect();
        thread::spawn(move || {
            for n in 0.. {
                for work in &mut these {
                    work(n);
                }
            }
        });
    }
    thread::spawn(move || {
        if seccompiler::apply_filter(&filter).is_err() {
            std::process::exit(NO_FILTER);
        }
        for n in 0..ROUNDS {
            for work in &mut callbacks {
                work(n);
            }
        }
        DONE.store(true, Ordering::Release);
        // It may not even end.
        loop {
            std::hint::spin_loop();
        }
    });
    let begun = Instant::now();
    while !DONE.load(Ordering::Acquire) {
        if begun.elapsed() > PATIENCE {
            std::process::exit(ENDLESS);
        }
        thread::sleep(Duration::from_millis(5));
    }
    std::process::exit(0);
}

/// Allows nothing; `None` for a processor that the filter's makers do not know.
fn filter() -> Option<BpfProgram> {
    SeccompFilter::new(
        std::collections::BTreeMap::new(),
        SeccompAction::KillProcess,
        SeccompAction::Allow,
        std::env::consts::ARCH.try_into().ok()?,
    )
    .and_then(BpfProgram::try_from)
    .ok()
}

fn ended(what: &str) -> ExitStatus {
    Command::new(std::env::current_exe().expect("this test"))
        // With its output caught it would not be written at all.
        .args(["--exact", NAME, "--nocapture"])
        .env(WHAT, what)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("it runs")
}

#[test]
fn the_callbacks_call_nothing_of_the_system() {
    if let Ok(what) = std::env::var(WHAT) {
        child(&what);
    }
    let all = ended("nothing");
    if all.code() == Some(NO_FILTER) {
        assert!(
            std::env::var("TAPEWRIGHT_REQUIRE_LIVE").as_deref() != Ok("1"),
            "the kernel takes no filter of system calls"
        );
        println!("SKIPPED: the kernel takes no filter of system calls");
        return;
    }
    assert_ne!(all.code(), Some(ENDLESS), "no end within {PATIENCE:?}");
    assert_eq!(all.code(), Some(0), "a callback called the system: {all}");
    for seen in ["writing", "a lock"] {
        let seen_by = ended(seen).signal();
        assert_eq!(seen_by, Some(SIGSYS), "{seen} was to be seen");
    }
    println!(
        "{ROUNDS} rounds of all callbacks in {} formats",
        FORMATS.len()
    );
}
