//! Files that were made to do harm, through the whole program within little
//! memory and time: it ends by itself with a status of its own, its JSON keeps
//! the contract, and no speed is shown where there is no tone.

use std::f64::consts::TAU;
use std::fs::{self, File};
use std::os::unix::fs::{FileExt, symlink};
use std::process::Command;

use crate::support::dice::hiss;
use crate::support::program::{Answer, Folder, deviation, tone, write_wav};
use crate::support::sound;
use crate::support::sounds;
use crate::support::wave_bytes::{
    chunk, file, format_chunk, plain, sized_chunk, sized_file, tone_pcm16,
};

const RATE: u32 = 8000;

/// What reading a recording of any length takes is a tenth of it; each thread
/// reserves more than it uses.
const MOST_KIB: u32 = 1 << 20;

/// Nobody waits longer. Jobs beside this one make it slow.
const LONGEST_S: u32 = 60;

/// The program with little memory and time, which it must not run out of.
#[track_caller]
fn limited(folder: &Folder, line: &str, statuses: &[i32]) -> Answer {
    let wanted = folder.command(line);
    let mut limited = Command::new("sh");
    limited
        .args(["-c", "ulimit -v $0; s=$1; shift; exec timeout $s \"$@\""])
        .args([MOST_KIB, LONGEST_S].map(|it| it.to_string()))
        .arg(wanted.get_program())
        .args(wanted.get_args());
    folder.settle(&mut limited);
    let answer = Answer::of(&mut limited);
    let ended = answer.status.is_some_and(|it| statuses.contains(&it));
    assert!(ended, "{line}: {:?}, {}", answer.status, answer.said());
    answer
}

#[track_caller]
fn run(folder: &Folder, line: &str) -> Answer {
    limited(folder, line, &[0, 3, 4])
}

/// Wherever a recording can be named. `good.wav` is there.
fn named_anywhere(folder: &Folder, name: &str) {
    fs::create_dir_all(folder.path("tapes")).unwrap();
    for line in [
        "read --json FILE",
        "read --json --contact FILE",
        "read --json --sweep FILE",
        "read --json --reference tone:auto FILE",
        "read --json --reference note:A4 FILE",
        "read --json --reference marks:1 FILE",
        "read --json --reference passage:2 FILE",
        "read --json --reference recording:FILE good.wav",
        "clock --data data --tone 3150 --tone-uncertainty 1 --file FILE",
        "tape measure trial FILE --data data --replace --reference 3150 --machine-error 0±0.1",
    ] {
        run(folder, &line.replace("FILE", name));
    }
}

fn with_good() -> Folder {
    let folder = Folder::new();
    folder.with("good.wav", plain(RATE, &tone_pcm16(3150.0, RATE, 3.0)));
    folder
}

/// No speed in any of them.
#[track_caller]
fn has_no_speed(answer: &Answer, of: &str) {
    assert!(!answer.objects.is_empty(), "{of}");
    for object in &answer.objects {
        for figure in ["measured_hz", "deviation_percent", "deviation_cents"] {
            assert!(object["speed"][figure].is_null(), "{of}: {object}");
        }
    }
}

/// A header of RF64 (EBU Tech 3306) that promises this much of 16-bit stereo.
fn rf64(data_bytes: u64, sound: &[u8]) -> Vec<u8> {
    rf64_of(&format_chunk(1, 2, RATE, 16), 4, data_bytes, sound)
}

/// The same of any format.
fn rf64_of(format: &[u8], frame_bytes: u64, data_bytes: u64, sound: &[u8]) -> Vec<u8> {
    let mut sizes = Vec::new();
    sizes.extend_from_slice(&(data_bytes + 72).to_le_bytes());
    sizes.extend_from_slice(&data_bytes.to_le_bytes());
    sizes.extend_from_slice(&(data_bytes / frame_bytes).to_le_bytes());
    sizes.extend_from_slice(&0u32.to_le_bytes());
    sized_file(
        *b"RF64",
        u32::MAX,
        &[
            chunk(*b"ds64", &sizes),
            chunk(*b"fmt ", format),
            sized_chunk(*b"data", u32::MAX, sound),
        ],
    )
}

#[test]
fn a_header_cut_at_any_byte_costs_that_file_only() {
    let folder = with_good();
    let pcm = tone_pcm16(3150.0, RATE, 3.0);
    let mut names = Vec::new();
    for (kind, whole) in [
        ("plain", plain(RATE, &pcm)),
        ("rf64", rf64(pcm.len() as u64, &pcm)),
    ] {
        for length in 0..=84 {
            let name = format!("{kind}-{length}.wav");
            folder.with(&name, &whole[..length]);
            names.push(name);
        }
    }
    names.push("good.wav".to_owned());
    let answer = run(&folder, &format!("read --json {}", names.join(" ")));
    assert_eq!(answer.objects.len(), names.len());
    let (good, cut) = answer.objects.split_last().unwrap();
    assert!(deviation(good).abs() < 0.01, "{good}");
    for object in cut {
        assert!(object["speed"]["deviation_percent"].is_null(), "{object}");
    }
    // A few of them wherever a recording can be named.
    for name in [
        "plain-0.wav",
        "plain-11.wav",
        "plain-43.wav",
        "plain-44.wav",
        "rf64-60.wav",
    ] {
        named_anywhere(&folder, name);
    }
}

#[test]
fn chunks_that_lead_nowhere_end_somewhere() {
    let folder = with_good();
    let pcm = tone_pcm16(3150.0, RATE, 3.0);
    let format = || chunk(*b"fmt ", &format_chunk(1, 2, RATE, 16));
    let data = || chunk(*b"data", &pcm);
    let whole = plain(RATE, &pcm);
    let unsaid = |id| sized_chunk(id, u32::MAX, b"");
    let empty = chunk(*b"junk", b"").repeat(100_000);
    let again = vec![format(); 1000].concat();
    let odd = vec![chunk(*b"odd ", b"1"); 1000].concat();
    let files = [
        ("empty chunks", file(&[empty, format(), data()]), true),
        ("formats", file(&[again, data()]), true),
        ("odd chunks", file(&[odd, format(), data()]), true),
        // The sound is another file: its header is 11 frames of noise.
        (
            "file in a file",
            file(&[format(), chunk(*b"data", &whole)]),
            true,
        ),
        (
            "file as a chunk",
            file(&[whole.clone(), format(), data()]),
            true,
        ),
        ("no end", file(&[unsaid(*b"junk"), format(), data()]), false),
        (
            "no end of the format",
            file(&[unsaid(*b"fmt "), data()]),
            false,
        ),
        (
            "no end of the sizes",
            sized_file(*b"RF64", u32::MAX, &[unsaid(*b"ds64"), format(), data()]),
            false,
        ),
        ("only a beginning", sized_file(*b"RIFF", 0, &[]), false),
        ("no sound", file(&[format(), chunk(*b"data", b"")]), false),
        ("sound before its format", file(&[data(), format()]), false),
        // As of a ring: the size leads back to the beginning, modulo 2^32.
        (
            "back",
            file(&[
                sized_chunk(*b"junk", 0u32.wrapping_sub(20), b""),
                format(),
                data(),
            ]),
            false,
        ),
    ];
    for (what, bytes, is_read) in files {
        let answer = {
            folder.with("odd.wav", bytes);
            run(&folder, "read --json odd.wav")
        };
        if is_read {
            assert!(deviation(&answer.ends(0).object).abs() < 0.05, "{what}");
        } else {
            has_no_speed(&answer, what);
        }
    }
    named_anywhere(&folder, "odd.wav");
}

/// Over 4 GiB, of which nearly all is a hole in the file.
const ENORMOUS: u64 = (1 << 32) + (1 << 28);

/// Its sound is a tone of five seconds that begins the file.
fn enormous(folder: &Folder, name: &str, header: &[u8], length: u64) {
    let path = folder.with(name, header);
    let file = File::options().write(true).open(path).unwrap();
    file.set_len(length).unwrap();
}

#[test]
fn sizes_beyond_32_bits_are_read_as_a_stream_whichever_way_they_lie() {
    let folder = with_good();
    let tone = tone_pcm16(3150.0, RATE, 5.0);
    // It says little and is long: what it says counts.
    enormous(
        &folder,
        "says-little.wav",
        &rf64(tone.len() as u64, &tone),
        ENORMOUS,
    );
    // It says much and is short.
    folder.with("says-much.wav", rf64(ENORMOUS, &tone));
    folder.with("says-all.wav", rf64(u64::MAX - 100, &tone));
    for (name, is_cut) in [
        ("says-little", false),
        ("says-much", true),
        ("says-all", true),
    ] {
        let answer = run(&folder, &format!("read --json {name}.wav"));
        let object = &answer.ends(0).object;
        assert!(deviation(object).abs() < 0.01, "{name}: {object}");
        let length = object["duration_s"].as_f64().unwrap();
        assert!((length - 5.0).abs() < 0.01, "{name}: {length}");
        let says_so = answer.text.contains("file_cut_short");
        assert_eq!(says_so, is_cut, "{name}: {object}");
    }
    named_anywhere(&folder, "says-all.wav");
}

/// One tone begins the file, another ends it, 4 GiB further on.
#[test]
fn sound_beyond_4_gib_is_read_as_what_it_is() {
    // So many wide channels that it is no more than 19 minutes.
    const CHANNELS: u16 = 64;
    const FRAME_BYTES: usize = 8 * CHANNELS as usize;
    let folder = Folder::new();
    let sound = |speed: f64| -> Vec<u8> {
        let mut frames = vec![0; 5 * RATE as usize * FRAME_BYTES];
        let tone = tone(RATE, 5.0, 3150.0, |_| speed);
        for (frame, sample) in frames.chunks_mut(FRAME_BYTES).zip(tone) {
            frame[..8].copy_from_slice(&f64::from(sample).to_le_bytes());
        }
        frames
    };
    let (first, last) = (sound(0.99), sound(1.01));
    let format = format_chunk(3, CHANNELS, RATE, 64);
    let begins = rf64_of(&format, FRAME_BYTES as u64, ENORMOUS, &first);
    let ends = (begins.len() - first.len()) as u64 + ENORMOUS;
    let path = folder.with("long.wav", begins);
    let file = File::options().write(true).open(path).unwrap();
    file.write_all_at(&last, ends - last.len() as u64).unwrap();
    let long_s = (ENORMOUS / FRAME_BYTES as u64) as f64 / f64::from(RATE);
    for (part, percent, takes_s) in [("--to 6", -1.0, 6.0), ("--from 6", 1.0, long_s - 6.0)] {
        let answer = run(
            &folder,
            &format!("read --json --reference 3150 {part} long.wav"),
        );
        let object = &answer.ends(0).object;
        assert!(
            (deviation(object) - percent).abs() < 0.001,
            "{part}: {object}"
        );
        let length_s = object["duration_s"].as_f64().unwrap();
        assert!((length_s - takes_s).abs() < 0.01, "{part}: {length_s}");
    }
}

/// A tone of 3 s in the first of many channels, under a header that says how
/// many they are.
fn many_channels(said: u16, channels: u16) -> Vec<u8> {
    let silent = vec![0; 2 * usize::from(channels - 1)];
    let tone = tone(RATE, 3.0, 3150.0, |_| 1.0);
    let frame = |sample: f32| [&((sample * 32_767.0) as i16).to_le_bytes()[..], &silent].concat();
    let data: Vec<u8> = tone.into_iter().flat_map(frame).collect();
    let mut format = format_chunk(1, 1, RATE, 16);
    format[2..4].copy_from_slice(&said.to_le_bytes());
    format[12..14].copy_from_slice(&said.wrapping_mul(2).to_le_bytes());
    file(&[chunk(*b"fmt ", &format), chunk(*b"data", &data)])
}

#[test]
fn channels_may_be_none_or_thousands() {
    let folder = with_good();
    for (said, channels) in [(1, 1), (1000, 1000)] {
        folder.with("many.wav", many_channels(said, channels));
        let answer = run(&folder, "read --json --channel 1 many.wav");
        assert!(deviation(&answer.ends(0).object).abs() < 0.01, "{said}");
        run(&folder, "read --json many.wav").ends(0);
    }
    for said in [0, u16::MAX] {
        folder.with("lies.wav", many_channels(said, 100));
        let answer = run(&folder, "read --json lies.wav");
        has_no_speed(&answer, &said.to_string());
        named_anywhere(&folder, "lies.wav");
    }
}

/// Samples that no converter gives.
#[test]
fn odd_numbers_are_no_tone_and_spoil_none() {
    let folder = with_good();
    let length = 4 * RATE as usize;
    let tone_at = |n: usize| (TAU * 3150.0 * n as f64 / f64::from(RATE)).sin();
    let all: [(&str, &dyn Fn(usize) -> f32); 10] = [
        ("nan", &|_| f32::NAN),
        ("infinite", &|n| {
            if n % 2 == 0 {
                f32::INFINITY
            } else {
                f32::NEG_INFINITY
            }
        }),
        ("denormal", &|n| f32::from_bits(1 + (n as u32 % 1000))),
        ("largest", &|n| if n % 3 == 0 { f32::MAX } else { f32::MIN }),
        ("constant", &|_| 0.7),
        ("stuck", &|_| 3e38),
        ("square", &|n| if n % 16 < 8 { 1.0 } else { -1.0 }),
        ("noise", &|n| hiss(n as u64) as f32),
        ("zero", &|_| -0.0),
        ("one", &|n| if n == length / 2 { f32::MAX } else { 0.0 }),
    ];
    for (name, sample) in all {
        let path = folder.path(&format!("{name}.wav"));
        write_wav(&path, RATE, 1, (0..length).map(sample));
    }
    let files = all.map(|(name, _)| format!("{name}.wav")).join(" ");
    // A square of 500 Hz is a tone, but none that is asked for.
    for wanted in [
        "",
        "--sweep",
        "--contact",
        "--reference 3150",
        "--reference marks:1",
        "--reference passage:2",
    ] {
        let answer = run(&folder, &format!("read --json {wanted} {files}"));
        assert_eq!(answer.objects.len(), all.len());
        has_no_speed(&answer, wanted);
    }
    for name in ["largest", "stuck"] {
        named_anywhere(&folder, &format!("{name}.wav"));
    }
    // Among a tone they cost what they cover.
    let spoilt: [(&str, f32); 4] = [
        ("nan", f32::NAN),
        ("infinite", f32::INFINITY),
        ("largest", f32::MAX),
        ("denormal", 1e-42),
    ];
    for (name, odd) in spoilt {
        let samples = (0..length).map(|n| {
            if n % 4001 == 0 {
                odd
            } else {
                0.5 * tone_at(n) as f32
            }
        });
        write_wav(&folder.path("spoilt.wav"), RATE, 1, samples);
        let answer = run(&folder, "read --json --reference 3150 spoilt.wav");
        // Nothing rather than something wrong.
        if let Some(percent) = answer.object["speed"]["deviation_percent"].as_f64() {
            assert!(percent.abs() < 0.02, "{name}: {}", answer.object);
        }
        assert!(
            name == "largest" || answer.status == Some(0),
            "{name}: {}",
            answer.said()
        );
    }
}

/// On many processors arithmetic with numbers below 1.2e-38 takes a hundred
/// times as long (denormal numbers of IEEE 754). Held by the time of this
/// thread on the processor, whatever runs beside it.
#[test]
fn numbers_too_small_to_be_normal_take_no_longer() {
    let length = 10 * 48_000;
    let tone = |n: usize| (TAU * 3150.0 * n as f64 / 48_000.0).sin();
    let cost = |amplitude: &dyn Fn(usize) -> f64| {
        let samples: Vec<f32> = (0..length)
            .map(|n| (amplitude(n) * tone(n)) as f32)
            .collect();
        let once = || {
            let begun = processor_s();
            sound::measure(sound::settings(48_000, 1), &samples);
            processor_s() - begun
        };
        (0..3).map(|_| once()).fold(f64::INFINITY, f64::min)
    };
    let ordinary = cost(&|_| 0.5);
    for (what, amplitude) in [
        ("tiny", &(|_| 1e-40) as &dyn Fn(usize) -> f64),
        ("fading", &|n| 0.5 * (-(n as f64) / 2400.0).exp()),
        ("silent after a tone", &|n| {
            if n < 48_000 { 0.5 } else { 0.0 }
        }),
        ("now and then", &|n| if n % 100 == 0 { 0.5 } else { 1e-40 }),
    ] {
        let odd = cost(amplitude);
        println!("{what}: {odd:.3} s, ordinary {ordinary:.3} s");
        assert!(odd < 4.0 * ordinary, "{what}: {odd} s for {ordinary} s");
    }
}

fn processor_s() -> f64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    now.tv_sec as f64 + now.tv_nsec as f64 * 1e-9
}

/// Sounds as there are on tapes, but no tone; kinds are those of
/// `sounds::no_tone`.
#[test]
fn what_is_no_tone_has_no_speed_in_a_file() {
    let folder = Folder::new();
    let names = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9].map(|kind| {
        let sound = sounds::no_tone(kind, 3150.0, 7000 + kind as u64);
        let name = format!("kind-{kind}.wav");
        let path = folder.path(&name);
        write_wav(&path, sounds::RATE, sound.channels, sound.samples);
        name
    });
    let answer = run(&folder, &format!("read --json {}", names.join(" ")));
    assert_eq!(answer.objects.len(), names.len());
    has_no_speed(&answer, "no tone");
}

/// Whatever stands in the place of a file that people write or keep.
#[test]
fn what_is_no_regular_file_is_waited_for_by_nobody() {
    let folder = with_good();
    for place in ["data/tapes", "data/parts", "data/jobs", "config/tapewright"] {
        fs::create_dir_all(folder.path(place)).unwrap();
    }
    let places = [
        ("data/tapes/odd.toml", "tape show odd --data data"),
        ("data/tapes/odd.toml", "tape list --data data"),
        (
            "data/tapes/odd.toml",
            "read --tape odd --data data good.wav",
        ),
        ("data/parts/odd.toml", "parts show odd --data data"),
        ("data/parts/odd.toml", "parts list --data data"),
        (
            "data/parts/odd.toml",
            "read --machine odd --data data good.wav",
        ),
        ("data/jobs/odd.jsonl", "jobs --data data"),
        ("data/jobs/odd.jsonl", "jobs odd --data data"),
        ("data/jobs/odd.jsonl", "sheet odd --data data"),
        ("data/clocks.jsonl", "clock --list --data data"),
        ("data/snapshots.jsonl", "snapshots --data data"),
        ("config/tapewright/settings.toml", "settings"),
        ("config/tapewright/settings.toml", "read good.wav"),
        ("odd.wav", "read --json odd.wav"),
        (
            "odd.wav",
            "read --json --reference recording:odd.wav good.wav",
        ),
    ];
    for (place, line) in places {
        for odd in ["pipe", "/dev/zero", "folder", "loop", "nowhere"] {
            let path = folder.path(place);
            match odd {
                // A recording may well come through one.
                "pipe" | "/dev/zero" if place == "odd.wav" => continue,
                "pipe" => drop(folder.pipe(place)),
                "folder" => fs::create_dir(&path).unwrap(),
                "loop" => symlink(&path, &path).unwrap(),
                "nowhere" => symlink("nothing", &path).unwrap(),
                device => symlink(device, &path).unwrap(),
            }
            println!("{odd} as {place}");
            limited(&folder, line, &[0, 2, 3, 4]);
            if odd == "folder" {
                fs::remove_dir(&path).unwrap();
            } else {
                fs::remove_file(&path).unwrap();
            }
        }
    }
}
