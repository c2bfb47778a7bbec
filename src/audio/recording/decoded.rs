//! Every kind but plain WAV, by way of symphonia: FLAC, AIFF, MP3, Ogg
//! Vorbis, AAC and ALAC in M4A, CAF, and what else it knows.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use symphonia::core::audio::Channels;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions, ReadOnlySource};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::TimeBase;

use super::guarded::guarded;
use super::samples::replace_no_numbers;
use super::{Faults, Reader, RecordingError, failed};
use crate::audio::source::StreamFormat;

/// Coders that work in blocks say their length to a block or two; less than
/// this missing at the end is no cut. Two blocks of AAC, or 3.5 of MP3.
const LOSSY_SLACK_FRAMES: u64 = 4096;

/// Nobody's packet is longer, as long as none was decoded that is: the largest
/// block of Vorbis (Vorbis I specification, section 4.2.2). What a broken one
/// claims is not to fill the memory.
const USUAL_PACKET_FRAMES: u64 = 8192;

/// Packets in a row without a byte, of which a broken file may claim to have any
/// number. A choice.
const MOST_EMPTY: u32 = 100_000;

pub(super) struct DecodedReader {
    container: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    /// What the durations of packets count in.
    time_base: Option<TimeBase>,
    format: StreamFormat,
    total_frames: Option<u64>,
    slack_frames: u64,
    read_frames: u64,
    longest_packet_frames: u64,
    empty_packets: u32,
    /// The first packet, decoded to learn the format.
    waiting: Vec<f32>,
    ended: bool,
    faults: Faults,
}

/// What the next packet gave.
enum Next {
    Samples,
    Nothing,
    End,
}

impl DecodedReader {
    /// Probes the file. `beginning` is what was already taken from it, or
    /// empty.
    pub(super) fn open(
        path: &Path,
        beginning: Vec<u8>,
        mut file: File,
    ) -> Result<Self, RecordingError> {
        let is_file = file.metadata().is_ok_and(|metadata| metadata.is_file());
        let stream = if is_file {
            io::Seek::rewind(&mut file).map_err(|source| failed(path, source))?;
            MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default())
        } else {
            let whole = ReadOnlySource::new(io::Cursor::new(beginning).chain(file));
            MediaSourceStream::new(Box::new(whole), MediaSourceStreamOptions::default())
        };
        let unusable = |reason| RecordingError::Unusable {
            path: path.to_path_buf(),
            reason,
        };
        let probe = || {
            let options = (FormatOptions::default(), MetadataOptions::default());
            symphonia::default::get_probe().probe(&hint(path), stream, options.0, options.1)
        };
        let container = guarded(probe)
            .ok_or_else(|| unusable("its header is broken".to_owned()))?
            .map_err(|error| refused(path, error))?;
        Self::begin(container).map_err(unusable)
    }

    fn begin(container: Box<dyn FormatReader>) -> Result<Self, String> {
        let track = container
            .default_track(TrackType::Audio)
            .ok_or("there is no sound in it")?;
        let Some(CodecParameters::Audio(parameters)) = &track.codec_params else {
            return Err("there is no sound in it".to_owned());
        };
        let options = AudioDecoderOptions::default();
        let decoder =
            guarded(|| symphonia::default::get_codecs().make_audio_decoder(parameters, &options));
        let decoder = decoder
            .and_then(Result::ok)
            .ok_or("its way of coding sound is not supported")?;
        let lossless = matches!(container.format_info().short_name, "flac" | "aiff" | "wave");
        let mut reader = Self {
            track: track.id,
            time_base: track.time_base,
            total_frames: track.num_frames,
            slack_frames: if lossless { 0 } else { LOSSY_SLACK_FRAMES },
            format: StreamFormat {
                rate_hz: 0,
                channels: 0,
            },
            container,
            decoder,
            read_frames: 0,
            longest_packet_frames: USUAL_PACKET_FRAMES,
            empty_packets: 0,
            waiting: Vec::new(),
            ended: false,
            faults: Faults::default(),
        };
        reader.learn_format()?;
        Ok(reader)
    }

    /// Headers may leave the format open or, rarely, be wrong about it; the
    /// first decoded packet is sure.
    fn learn_format(&mut self) -> Result<(), String> {
        let mut first = Vec::new();
        while self.waiting.is_empty() {
            match self.next_packet(&mut first) {
                Next::Samples => self.waiting.append(&mut first),
                Next::Nothing => {}
                Next::End => break,
            }
        }
        if self.format.channels == 0 {
            let parameters = self.decoder.codec_params();
            let channels = parameters.channels.as_ref().map_or(0, Channels::count);
            self.format = StreamFormat {
                rate_hz: parameters.sample_rate.unwrap_or(0),
                channels: u16::try_from(channels).unwrap_or(u16::MAX),
            };
        }
        if self.format.channels == 0 || (self.waiting.is_empty() && self.faults.cut_short) {
            return Err("no sound in it can be decoded".to_owned());
        }
        Ok(())
    }
}

impl Reader for DecodedReader {
    fn format(&self) -> StreamFormat {
        self.format
    }

    fn total_frames(&self) -> Option<u64> {
        self.total_frames
    }

    fn faults(&self) -> Faults {
        self.faults.clone()
    }

    fn next_block(&mut self, samples: &mut Vec<f32>) {
        if !self.waiting.is_empty() {
            std::mem::swap(samples, &mut self.waiting);
            self.waiting = Vec::new();
            return;
        }
        while samples.is_empty() && !matches!(self.next_packet(samples), Next::End) {}
    }
}

impl DecodedReader {
    fn next_packet(&mut self, samples: &mut Vec<f32>) -> Next {
        if self.ended {
            return Next::End;
        }
        let packet = match guarded(|| self.container.next_packet()) {
            Some(Ok(Some(packet))) => packet,
            Some(Ok(None)) => return self.end(false),
            Some(Err(_)) | None => return self.end(true),
        };
        self.empty_packets = match packet.data.len() {
            0 => self.empty_packets + 1,
            _ => 0,
        };
        if self.empty_packets > MOST_EMPTY {
            return self.end(true);
        }
        if packet.track_id != self.track {
            return Next::Nothing;
        }
        // Copied within, for that is the work of other hands too.
        let decoded = guarded(|| {
            let decoded = self.decoder.decode(&packet)?;
            decoded.copy_to_vec_interleaved(samples);
            let format = StreamFormat {
                rate_hz: decoded.spec().rate(),
                channels: u16::try_from(decoded.spec().channels().count()).unwrap_or(u16::MAX),
            };
            Ok((format, decoded.frames() as u64))
        });
        match decoded {
            Some(Ok((_, 0))) => Next::Nothing,
            // Where it differs another recording follows in the same file.
            Some(Ok((format, frames))) if self.format.channels == 0 || self.format == format => {
                self.format = format;
                self.read_frames += frames;
                self.longest_packet_frames = self.longest_packet_frames.max(frames);
                self.faults.replaced_samples += replace_no_numbers(samples);
                Next::Samples
            }
            Some(Err(Error::DecodeError(_) | Error::IoError(_))) => self.silence(&packet, samples),
            _ => {
                samples.clear();
                self.end(true)
            }
        }
    }

    /// What cannot be decoded is silent, so that all that follows stays in
    /// its place.
    fn silence(&mut self, packet: &Packet, samples: &mut Vec<f32>) -> Next {
        self.faults.undecodable_packets += 1;
        let frames = self.frames_in(packet).min(self.longest_packet_frames);
        if self.format.channels == 0 || frames == 0 || packet.data.is_empty() {
            return Next::Nothing;
        }
        samples.resize(frames as usize * usize::from(self.format.channels), 0.0);
        self.read_frames += frames;
        Next::Samples
    }

    /// As long as it says it is; some containers count in milliseconds.
    fn frames_in(&self, packet: &Packet) -> u64 {
        let Some(unit) = self.time_base else {
            return packet.dur.get();
        };
        let of_a_second = u128::from(packet.dur.get()) * u128::from(unit.numer.get());
        let frames = of_a_second * u128::from(self.format.rate_hz) / u128::from(unit.denom.get());
        u64::try_from(frames).unwrap_or(u64::MAX)
    }

    fn end(&mut self, broken: bool) -> Next {
        self.ended = true;
        let missing = self
            .total_frames
            .map_or(0, |total| total.saturating_sub(self.read_frames));
        self.faults.cut_short = broken || missing > self.slack_frames;
        if self.faults.cut_short {
            self.faults.missing_frames = missing;
        }
        Next::End
    }
}

fn hint(path: &Path) -> Hint {
    let mut hint = Hint::new();
    if let Some(extension) = path.extension().and_then(|extension| extension.to_str()) {
        hint.with_extension(extension);
    }
    hint
}

fn refused(path: &Path, error: Error) -> RecordingError {
    match error {
        // It leads to a place that no file has.
        Error::IoError(source) if source.kind() == io::ErrorKind::InvalidInput => {
            RecordingError::Unusable {
                path: path.to_path_buf(),
                reason: "its header is broken".to_owned(),
            }
        }
        Error::IoError(source) if source.kind() != io::ErrorKind::UnexpectedEof => {
            failed(path, source)
        }
        // Only the search for a known beginning ends in these two.
        Error::Unsupported(_) | Error::IoError(_) => RecordingError::Unknown(path.to_path_buf()),
        error => RecordingError::Unusable {
            path: path.to_path_buf(),
            reason: error.to_string(),
        },
    }
}

#[cfg(test)]
mod tests {
    use symphonia::core::errors::Result;
    use symphonia::core::formats::{FormatInfo, MediaInfo, SeekMode, SeekTo, SeekedTo, Track};
    use symphonia::core::meta::Metadata;
    use symphonia::core::units::{Duration, Timestamp};

    use super::*;

    /// A container that goes on without end, and without a byte.
    struct Endless(Box<dyn FormatReader>);

    impl FormatReader for Endless {
        fn format_info(&self) -> &FormatInfo {
            self.0.format_info()
        }

        fn media_info(&self) -> &MediaInfo {
            self.0.media_info()
        }

        fn metadata(&mut self) -> Metadata<'_> {
            self.0.metadata()
        }

        fn seek(&mut self, mode: SeekMode, to: SeekTo) -> Result<SeekedTo> {
            self.0.seek(mode, to)
        }

        fn tracks(&self) -> &[Track] {
            self.0.tracks()
        }

        fn next_packet(&mut self) -> Result<Option<Packet>> {
            let track = self.0.tracks()[0].id;
            let packet = || Packet::new(track, Timestamp::ZERO, Duration::ZERO, []);
            Ok(self.0.next_packet()?.or_else(|| Some(packet())))
        }

        fn into_inner<'s>(self: Box<Self>) -> MediaSourceStream<'s>
        where
            Self: 's,
        {
            self.0.into_inner()
        }
    }

    #[test]
    fn packets_without_end_and_without_sound_are_a_broken_end() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.wav");
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 48_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut wav = hound::WavWriter::create(&path, spec).expect("room");
        for _ in 0..10_000 {
            wav.write_sample(1000i16).expect("room");
        }
        wav.finalize().expect("room");
        let file = File::open(&path).expect("it is there");
        let whole = DecodedReader::open(&path, Vec::new(), file).expect("sound");
        let mut reader = DecodedReader::begin(Box::new(Endless(whole.container))).expect("sound");
        let (mut block, mut read) = (Vec::new(), 0);
        loop {
            reader.next_block(&mut block);
            if block.is_empty() {
                break;
            }
            read += block.len();
            block.clear();
        }
        assert!(read > 0 && reader.faults().cut_short, "{read}");
    }
}
