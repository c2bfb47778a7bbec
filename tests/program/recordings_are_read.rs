//! Recordings of every usual kind are read whole, whatever their headers
//! claim; broken ones as far as they go; what is no recording is refused in a
//! sentence.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use crate::support::dice::Dice;
use crate::support::program::{Answer, Folder, deviation};
use crate::support::sound;
use crate::support::wave_bytes::{
    chunk, file, format_chunk, plain, sized_chunk, sized_file, tone_pcm16,
};
use tapewright::audio::recording::{self, Faults, Pace, Recording};
use tapewright::audio::ring::Popped;
use tapewright::audio::source::{SourceEvent, StreamFormat};

const RATE: u32 = 48_000;

struct Read {
    format: StreamFormat,
    total_frames: Option<u64>,
    samples: Vec<f32>,
    faults: Faults,
}

fn read(path: &Path) -> Read {
    let mut recording = Recording::open(path).unwrap_or_else(|error| panic!("{error}"));
    let total_frames = recording.total_frames();
    let mut samples = Vec::new();
    let mut block = Vec::new();
    while let Some(frames) = recording.next_block(&mut block) {
        assert_eq!(
            block.len(),
            frames * usize::from(recording.format().channels)
        );
        samples.extend_from_slice(&block);
    }
    Read {
        format: recording.format(),
        total_frames,
        samples,
        faults: recording.faults(),
    }
}

fn expected(pcm: &[u8]) -> Vec<f32> {
    pcm.chunks(2)
        .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0)
        .collect()
}

#[track_caller]
fn assert_whole(read: &Read, pcm: &[u8]) {
    assert_eq!(read.samples.len(), pcm.len() / 2);
    assert!(read.samples == expected(pcm), "samples differ");
    assert!(read.faults.is_none(), "{:?}", read.faults);
}

#[test]
fn a_plain_file_comes_out_sample_by_sample() {
    let folder = Folder::new();
    // More than a block, and not a whole number of them.
    let pcm = tone_pcm16(3150.0, RATE, 1.2345);
    let got = read(&folder.with("plain.wav", plain(RATE, &pcm)));
    assert_whole(&got, &pcm);
    assert_eq!(got.total_frames, Some(pcm.len() as u64 / 4));
    assert_eq!((got.format.rate_hz, got.format.channels), (RATE, 2));
}

#[test]
fn every_sample_size_is_read() {
    let folder = Folder::new();
    let values = [-1.0, -0.5, 0.0, 0.25, 0.5, 0.75];
    let whole = |bits: u16| {
        let step = values.map(|v| (v * 2f64.powi(i32::from(bits) - 1)) as i64);
        // Bytes alone are counted from the bottom.
        let step = step.map(|v| if bits == 8 { v + 128 } else { v });
        step.map(|v| v.to_le_bytes()[..usize::from(bits / 8)].to_vec())
            .concat()
    };
    for (tag, bits) in [(1, 8), (1, 16), (1, 24), (1, 32), (3, 32), (3, 64)] {
        let data = match (tag, bits) {
            (1, _) => whole(bits),
            (_, 32) => values.map(|v| (v as f32).to_le_bytes()).concat(),
            _ => values.map(f64::to_le_bytes).concat(),
        };
        for extensible in [false, true] {
            let mut format = format_chunk(if extensible { 0xfffe } else { tag }, 1, RATE, bits);
            if extensible {
                // Size of the rest, valid bits, speakers, sub-format.
                format.extend_from_slice(&22u16.to_le_bytes());
                format.extend_from_slice(&bits.to_le_bytes());
                format.extend_from_slice(&4u32.to_le_bytes());
                format.extend_from_slice(&tag.to_le_bytes());
                format.extend_from_slice(b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
            }
            let bytes = file(&[
                chunk(*b"LIST", b"odd"),
                chunk(*b"fmt ", &format),
                chunk(*b"data", &data),
            ]);
            let got = read(&folder.with("sizes.wav", &bytes));
            let got: Vec<f64> = got.samples.iter().map(|&s| f64::from(s)).collect();
            assert_eq!(got, values, "{tag}, {bits} bit, extensible: {extensible}");
        }
    }
}

#[test]
fn rf64_is_read_by_its_long_sizes() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 0.1);
    for id in [*b"RF64", *b"BW64"] {
        let mut long = Vec::new();
        long.extend_from_slice(&(pcm.len() as u64 + 72).to_le_bytes());
        long.extend_from_slice(&(pcm.len() as u64).to_le_bytes());
        long.extend_from_slice(&(pcm.len() as u64 / 4).to_le_bytes());
        long.extend_from_slice(&0u32.to_le_bytes());
        let mut bytes = sized_file(
            id,
            u32::MAX,
            &[
                chunk(*b"ds64", &long),
                chunk(*b"fmt ", &format_chunk(1, 2, RATE, 16)),
                sized_chunk(*b"data", u32::MAX, &pcm),
            ],
        );
        // What follows the data is no sound.
        bytes.extend_from_slice(&chunk(*b"LIST", b"nothing to hear here"));
        let got = read(&folder.with("long.wav", &bytes));
        assert_whole(&got, &pcm);
    }
}

#[test]
fn sizes_that_were_never_filled_in_do_not_matter() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 0.1);
    for (riff, data) in [
        // Died at once; died after its first header; pipes of several kinds.
        (0, 0),
        (36, 0),
        (u32::MAX, u32::MAX),
        (u32::MAX, 0),
        (0x7fff_f024, 0x7fff_f000),
        (0x8000_0024, 0x8000_0000),
    ] {
        let bytes = sized_file(
            *b"RIFF",
            riff,
            &[
                chunk(*b"fmt ", &format_chunk(1, 2, RATE, 16)),
                sized_chunk(*b"data", data, &pcm),
            ],
        );
        let got = read(&folder.with("piped.wav", &bytes));
        assert_whole(&got, &pcm);
        assert_eq!(got.total_frames, Some(pcm.len() as u64 / 4), "{data:x}");
    }
}

#[test]
fn a_cut_file_is_read_as_far_as_it_goes() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 0.5);
    let whole = plain(RATE, &pcm);
    // Within the last frame, within the data, right after the header.
    for missing in [1, 1001, pcm.len()] {
        let got = read(&folder.with("cut.wav", &whole[..whole.len() - missing]));
        let frames = (pcm.len() - missing) / 4;
        assert!(got.faults.cut_short, "{missing}");
        let missing_frames = missing.div_ceil(4) as u64;
        assert_eq!(got.faults.missing_frames, missing_frames, "{missing}");
        assert_eq!(got.samples, expected(&pcm[..frames * 4]), "{missing}");
    }
    for length in 1..44 {
        let path = folder.with("header.wav", &whole[..length]);
        let error = Recording::open(&path).err().map(|error| error.to_string());
        let error = error.unwrap_or_else(|| panic!("{length} bytes were taken for a recording"));
        assert!(error.contains("header.wav"), "{error}");
    }
}

#[test]
fn samples_that_are_no_number_become_silence_and_are_counted() {
    let folder = Folder::new();
    let values = [0.5f32, f32::NAN, -0.5, f32::INFINITY];
    let data: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
    let bytes = file(&[
        chunk(*b"fmt ", &format_chunk(3, 1, RATE, 32)),
        chunk(*b"data", &data),
    ]);
    let got = read(&folder.with("nan.wav", &bytes));
    assert_eq!(got.samples, [0.5, 0.0, -0.5, 0.0]);
    assert_eq!(got.faults.replaced_samples, 2);
}

#[test]
fn a_header_without_sound_is_an_empty_recording() {
    let folder = Folder::new();
    let got = read(&folder.with("silent.wav", plain(RATE, &[])));
    assert_eq!((got.samples.len(), got.total_frames), (0, Some(0)));
    assert!(got.faults.is_none());
}

#[test]
fn what_is_no_recording_is_refused_in_a_sentence() {
    let folder = Folder::new();
    let text = folder.with(
        "notes.wav",
        b"Side A: nothing but wind and rain.\nSide B: rain.\n",
    );
    let empty = folder.with("empty.wav", b"");
    let noise: Vec<u8> = (0..4096u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    let noise = folder.with("noise.wav", &noise);
    let picture = folder.with("picture.flac", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01");
    for (path, told) in [
        (folder.path("missing.wav"), "no such file"),
        (folder.root().to_path_buf(), "a folder"),
        (text, "a text file"),
        (empty, "the file is empty"),
        (noise, "no recording of a known kind"),
        (picture, "no recording of a known kind"),
    ] {
        let error = Recording::open(&path).err().expect("refused").to_string();
        assert!(error.contains(told), "{error}");
        assert!(error.starts_with(&path.display().to_string()), "{error}");
        assert!(!error.contains('\n'), "{error}");
    }
}

#[test]
fn broken_headers_never_do_harm() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 0.01);
    let whole = plain(RATE, &pcm);
    // Each byte of the header turned into each of a few nasty values.
    for at in 0..44 {
        for value in [0, 1, 0x7f, 0x80, 0xff] {
            let mut bytes = whole.clone();
            bytes[at] = value;
            let path = folder.with("broken.wav", &bytes);
            if let Ok(mut recording) = Recording::open(&path) {
                let mut block = Vec::new();
                let mut frames = 0;
                while let Some(more) = recording.next_block(&mut block) {
                    frames += more;
                }
                assert!(frames <= bytes.len(), "byte {at} as {value}");
            }
        }
    }
}

/// A file of another kind that sox writes; `None` where it cannot.
fn by_sox(folder: &Folder, name: &str, pcm: &[u8]) -> Option<PathBuf> {
    let source = folder.with("source.wav", plain(RATE, pcm));
    let path = folder.path(name);
    let sox = Command::new("sox").arg(&source).arg(&path).output();
    match sox {
        Ok(output) if output.status.success() => Some(path),
        _ => {
            println!("skipped: sox is not there or cannot write {name}");
            None
        }
    }
}

#[test]
fn lossless_kinds_come_out_sample_by_sample() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 1.5);
    for name in ["tone.flac", "tone.aiff", "tone.caf"] {
        let Some(path) = by_sox(&folder, name, &pcm) else {
            continue;
        };
        let got = read(&path);
        assert_whole(&got, &pcm);
        assert_eq!(got.total_frames, Some(pcm.len() as u64 / 4), "{name}");
        // The kind is told by what is in it, not by its name.
        let renamed = folder.path("renamed.wav");
        fs::copy(&path, &renamed).unwrap();
        assert_whole(&read(&renamed), &pcm);
    }
}

#[test]
fn a_cut_flac_is_read_as_far_as_it_goes() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 1.5);
    let Some(path) = by_sox(&folder, "tone.flac", &pcm) else {
        return;
    };
    let whole = fs::read(&path).unwrap();
    let got = read(&folder.with("cut.flac", &whole[..whole.len() / 2]));
    assert!(got.faults.cut_short);
    assert!(!got.samples.is_empty() && got.samples.len() < pcm.len() / 2);
    let reached = got.samples.len();
    assert!(got.samples == expected(&pcm)[..reached], "samples differ");
}

#[test]
fn damage_within_a_flac_leaves_the_rest_in_its_place() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 1.5);
    let Some(path) = by_sox(&folder, "tone.flac", &pcm) else {
        return;
    };
    let mut bytes = fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 16].fill(0x55);
    let got = read(&folder.with("damaged.flac", &bytes));
    let right = expected(&pcm);
    assert!(!got.faults.is_none());
    let end = right.len() - 1000;
    if got.samples.len() == right.len() {
        assert!(got.samples[end..] == right[end..], "the end has moved");
    }
}

#[test]
fn lossy_kinds_keep_length_and_tone() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 2.0);
    for name in ["tone.ogg", "tone.mp3"] {
        let Some(path) = by_sox(&folder, name, &pcm) else {
            continue;
        };
        let got = read(&path);
        let frames = got.samples.len() / 2;
        assert!(frames.abs_diff(96_000) < 4096, "{name}: {frames}");
        assert!(got.faults.is_none(), "{name}: {:?}", got.faults);
        let power: f32 = got.samples.iter().map(|s| s * s).sum::<f32>() / got.samples.len() as f32;
        // Amplitude 0.25: a mean square of 1/32. Some encoders turn the level
        // down by 5 % beforehand and add a little silence.
        assert!((0.026..0.033).contains(&power), "{name}: {power}");
    }
}

#[test]
fn a_feeder_delivers_everything_and_then_says_so() {
    let folder = Folder::new();
    // Longer than the ring: the feeder has to wait.
    let pcm = tone_pcm16(3150.0, 8000, 5.0);
    let path = folder.with("feed.wav", plain(8000, &pcm));
    let (send, receive) = channel();
    recording::start(&path, Pace::Fast, send).unwrap();
    let Ok(SourceEvent::Connected {
        format,
        mut reader,
        name,
        ..
    }) = receive.recv()
    else {
        panic!("not connected");
    };
    assert_eq!((format.rate_hz, format.channels), (8000, 2));
    assert_eq!(name, "feed.wav");
    let mut samples = Vec::new();
    let mut buffer = vec![0.0; 1000];
    loop {
        match reader.pop(&mut buffer) {
            Popped::Samples(count) => samples.extend_from_slice(&buffer[..count]),
            Popped::Gap(lost) => panic!("{lost} frames lost"),
            Popped::Empty if reader.is_finished() => break,
            Popped::Empty => std::thread::yield_now(),
        }
    }
    assert!(samples == expected(&pcm), "samples differ");
    assert!(matches!(receive.recv(), Ok(SourceEvent::Ended)));
    assert!(receive.recv().is_err(), "the feeder goes on after its end");
}

#[test]
fn a_feeder_ends_when_nobody_listens() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, 8000, 5.0);
    let path = folder.with("feed.wav", plain(8000, &pcm));
    let (send, receive) = channel();
    recording::start(&path, Pace::Fast, send).unwrap();
    let Ok(SourceEvent::Connected { reader, .. }) = receive.recv() else {
        panic!("not connected");
    };
    drop(reader);
    // Its sender is dropped with it, without a word.
    assert!(receive.recv().is_err());
}

#[test]
fn a_feeder_refuses_at_once() {
    let folder = Folder::new();
    let (send, receive) = channel();
    let refused = recording::start(&folder.path("missing.wav"), Pace::Real, send);
    assert!(refused.is_err());
    assert!(receive.recv().is_err());
}

#[test]
fn damage_anywhere_never_stops_the_program() {
    let folder = Folder::new();
    let pcm = tone_pcm16(3150.0, RATE, 0.3);
    let mut dice = Dice::new(1);
    for name in ["tone.flac", "tone.ogg", "tone.aiff", "tone.caf"] {
        let Some(path) = by_sox(&folder, name, &pcm) else {
            continue;
        };
        let whole = fs::read(&path).unwrap();
        for round in 0..150 {
            let mut bytes = whole.clone();
            // The header is short and deserves as much as the rest.
            let reach = if round % 2 == 0 { 256 } else { bytes.len() };
            for _ in 0..=dice.below(4) {
                let at = dice.below(reach.min(bytes.len()));
                bytes[at] = dice.below(256) as u8;
            }
            if round % 3 == 0 {
                bytes.truncate(dice.below(bytes.len()));
            }
            let damaged = folder.with(name, &bytes);
            // Either refused in a sentence or read to some end.
            if let Ok(mut recording) = Recording::open(&damaged) {
                let mut block = Vec::new();
                while recording.next_block(&mut block).is_some() {
                    assert!(
                        block.iter().all(|sample| sample.is_finite()),
                        "{name} {round}"
                    );
                }
            }
        }
    }
}

/// A WAV file of 16 bit whose header claims this rate.
fn at_rate(rate_hz: u32) -> Vec<u8> {
    file(&[
        chunk(*b"fmt ", &format_chunk(1, 1, rate_hz, 16)),
        chunk(*b"data", &vec![0x11; 20_000]),
    ])
}

#[test]
fn a_rate_that_nothing_can_be_measured_at_is_refused_wherever_a_recording_is_named() {
    let folder = Folder::new();
    folder.with("good.wav", plain(RATE, &tone_pcm16(3150.0, RATE, 1.0)));
    for rate_hz in [0, 1, 100, 7999, 768_001, 0xff00_1f40, u32::MAX] {
        folder.with("odd.wav", at_rate(rate_hz));
        for line in [
            "read odd.wav",
            "read --reference recording:odd.wav good.wav",
            "clock --tone 1000 --tone-uncertainty 1 --file odd.wav",
        ] {
            let told = format!("{rate_hz} Hz");
            folder.run(line).ends(3).complains(&["odd.wav", &told]);
        }
        // As `watch --file` opens it.
        let (events, _) = channel();
        let refused = recording::start(&folder.path("odd.wav"), Pace::Fast, events);
        assert!(
            refused.unwrap_err().to_string().contains("odd.wav"),
            "{rate_hz}"
        );
    }
}

/// The program with this given through a named pipe, and what came of it; it
/// must end by itself.
#[cfg(unix)]
fn through_a_pipe(folder: &Folder, bytes: Vec<u8>, line: &str) -> Answer {
    let _ = fs::remove_file(folder.path("pipe"));
    let pipe = folder.pipe("pipe");
    let mut command = folder.command(&format!("{line} pipe"));
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let writer = std::thread::spawn(move || {
        // It may have seen enough.
        let _ = fs::write(pipe, bytes);
    });
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed().as_secs() > 30 {
            child.kill().unwrap();
            panic!("{line} waits for ever");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    writer.join().unwrap();
    Answer::from(child.wait_with_output().unwrap())
}

#[cfg(unix)]
#[test]
fn a_pipe_is_read_once_and_what_cannot_be_had_of_it_is_said() {
    let folder = Folder::new();
    // No tone: nothing is looked for a second time.
    let silence = plain(RATE, &vec![0; 4 * RATE as usize]);
    through_a_pipe(&folder, silence, "read").ends(4);
    // A kind that is compressed within a WAV: ADPCM.
    let adpcm = file(&[
        chunk(*b"fmt ", &format_chunk(2, 1, RATE, 4)),
        chunk(*b"data", &vec![0x22; 40_000]),
    ]);
    // A kind that must be sought in.
    let caf = [&b"caff\x00\x01\x00\x00desc"[..], &[0x80; 4000]].concat();
    for bytes in [adpcm, caf] {
        let answer = through_a_pipe(&folder, bytes, "read");
        answer.ends(3).complains(&["pipe", "save it as a file"]);
    }
    // More than the tone: what a file gives besides is said to be wanting.
    let tone = "tone --programme --machine 'deck 2' --mono -o p.wav";
    folder.run(tone).ends(0);
    let bytes = fs::read(folder.path("p.wav")).unwrap();
    let answer = through_a_pipe(&folder, bytes, "read --json");
    answer.ends(0).says(&["\"through_pipe\""]);
}

#[cfg(unix)]
#[test]
fn a_recording_that_stops_coming_is_not_shown_as_live() {
    use std::io::Write;
    let folder = Folder::new();
    let pipe = folder.pipe("pipe");
    let bytes = plain(RATE, &tone_pcm16(3150.0, RATE, 2.0));
    let writing = pipe.clone();
    let writer = std::thread::spawn(move || {
        let (first, rest) = bytes.split_at(bytes.len() / 2);
        let mut pipe = fs::OpenOptions::new().write(true).open(writing).unwrap();
        pipe.write_all(first).unwrap();
        std::thread::sleep(Duration::from_secs(3));
        pipe.write_all(rest).unwrap();
    });
    let (events, received) = channel();
    recording::start(&pipe, Pace::Real, events).unwrap();
    let (mut told, mut frames) = (Vec::new(), 0);
    let mut ring = None;
    let mut buffer = vec![0.0; 4096];
    loop {
        match received.recv_timeout(Duration::from_millis(2)) {
            Ok(SourceEvent::Connected { reader, .. }) => {
                told.push("connected");
                ring = Some(reader);
            }
            Ok(SourceEvent::Lost { reason }) => {
                assert!(reason.contains("stopped coming"), "{reason}");
                told.push("lost");
            }
            Ok(SourceEvent::Ended) => {
                told.push("ended");
                break;
            }
            Ok(SourceEvent::Failed { reason }) => panic!("{reason}"),
            Err(_) => {}
        }
        while let Some(Popped::Samples(count)) = ring.as_mut().map(|it| it.pop(&mut buffer)) {
            frames += count / 2;
        }
    }
    writer.join().unwrap();
    assert_eq!(told, ["connected", "lost", "connected", "ended"]);
    assert_eq!(frames, 2 * RATE as usize, "nothing is missing");
}

#[test]
fn channels_beyond_the_second_are_read_where_they_are_asked_for() {
    let folder = Folder::new();
    let samples: Vec<u8> = (0..6 * RATE)
        .flat_map(|n| {
            let at_s = f64::from(n) / f64::from(RATE);
            [440.0, 1000.0, 3118.5, 3181.5].map(|hz| (at_s * hz * std::f64::consts::TAU).sin())
        })
        .flat_map(|value| ((value * 16_000.0) as i16).to_le_bytes())
        .collect();
    let four = file(&[
        chunk(*b"fmt ", &format_chunk(1, 4, RATE, 16)),
        chunk(*b"data", &samples),
    ]);
    folder.with("four.wav", &four);
    let read = |channel: &str| folder.read(&format!("--channel {channel} four.wav"));
    for (channel, right) in [("3", -1.0), ("4", 1.0)] {
        let answer = read(channel);
        let got = deviation(&answer.ends(0).object);
        assert!((got - right).abs() < 0.001, "{channel}: {got}");
        assert_eq!(answer.object["channel"], "mono");
    }
    // The first two carry something else.
    read("1,2").ends(4);
    read("5").ends(3);
    for odd in ["0", "middle", "3,3", "3-4"] {
        read(odd).ends(2);
    }
}

/// Runs sox; false where it is not there.
fn sox(folder: &Folder, arguments: &str) -> bool {
    let done = Command::new("sox")
        .args(arguments.split_whitespace())
        .current_dir(folder.path("."))
        .output();
    let is_done = done.is_ok_and(|done| done.status.success());
    if !is_done {
        println!("skipped: sox is not there or cannot do {arguments}");
    }
    is_done
}

#[test]
fn azimuth_is_what_sox_delayed() {
    // Whole samples at 192 kHz, 5.208 µs each, and noise 40 dB below the tone:
    // sox's even noise of full scale has 1/√3, the tone 0.25/√2.
    let folder = Folder::new();
    for (samples, hz) in [(1, 3150), (-4, 1000), (7, 10_000)] {
        let lag_us = f64::from(samples) * 1e6 / 192_000.0;
        let [left, right] = [(-samples).max(0), samples.max(0)];
        let tone = format!(
            "-r 192000 -n -c 2 -e floating-point -b 32 tone.wav synth 11 sine {hz} sine {hz} vol 0.25 \
             delay {left}s {right}s"
        );
        let noise = "-R -r 192000 -n -c 2 -e floating-point -b 32 noise.wav synth 11 whitenoise \
                     whitenoise vol 0.00306";
        let both = "-m -v 1 tone.wav -v 1 noise.wav -e floating-point -b 32 both.wav rate -v 48000";
        if ![&tone[..], noise, both].iter().all(|it| sox(&folder, it)) {
            return;
        }
        let recording = read(&folder.path("both.wav"));
        let settings = sound::settings_at(recording.format.rate_hz, 2, f64::from(hz));
        let told = sound::measure(settings, &recording.samples).channels;
        let got = told.expect("two channels").right_lags_us;
        assert!(
            (got - lag_us).abs() < 0.1,
            "{hz} Hz: {got}, not {lag_us} µs"
        );
    }
}
