//! WAV files byte by byte, right and wrong, for tests.

/// Samples of a 16-bit stereo tone, both channels alike, as bytes.
pub fn tone_pcm16(hz: f64, rate_hz: u32, seconds: f64) -> Vec<u8> {
    let frames = (seconds * f64::from(rate_hz)).round() as usize;
    let mut bytes = Vec::with_capacity(frames * 4);
    for number in 0..frames {
        let turns = (hz * number as f64 / f64::from(rate_hz)).fract();
        let value = (0.25 * 32_768.0 * (std::f64::consts::TAU * turns).sin()).round() as i16;
        bytes.extend_from_slice(&value.to_le_bytes());
        bytes.extend_from_slice(&value.to_le_bytes());
    }
    bytes
}

/// The fields of a plain format chunk.
pub fn format_chunk(tag: u16, channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = channels * bits.div_ceil(8);
    let mut chunk = Vec::new();
    chunk.extend_from_slice(&tag.to_le_bytes());
    chunk.extend_from_slice(&channels.to_le_bytes());
    chunk.extend_from_slice(&rate_hz.to_le_bytes());
    chunk.extend_from_slice(&(rate_hz.wrapping_mul(u32::from(frame))).to_le_bytes());
    chunk.extend_from_slice(&frame.to_le_bytes());
    chunk.extend_from_slice(&bits.to_le_bytes());
    chunk
}

/// A chunk with its true size.
pub fn chunk(id: [u8; 4], content: &[u8]) -> Vec<u8> {
    sized_chunk(
        id,
        u32::try_from(content.len()).expect("a short one"),
        content,
    )
}

/// A chunk that claims a size.
pub fn sized_chunk(id: [u8; 4], size: u32, content: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend_from_slice(&size.to_le_bytes());
    bytes.extend_from_slice(content);
    if content.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

/// A file of these chunks that claims a size.
pub fn sized_file(id: [u8; 4], size: u32, chunks: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend_from_slice(&size.to_le_bytes());
    bytes.extend_from_slice(b"WAVE");
    for chunk in chunks {
        bytes.extend_from_slice(chunk);
    }
    bytes
}

/// A file of these chunks with its true size.
pub fn file(chunks: &[Vec<u8>]) -> Vec<u8> {
    let size = 4 + chunks.iter().map(Vec::len).sum::<usize>();
    sized_file(*b"RIFF", u32::try_from(size).expect("a short one"), chunks)
}

/// A plain 16-bit stereo file.
pub fn plain(rate_hz: u32, pcm: &[u8]) -> Vec<u8> {
    file(&[
        chunk(*b"fmt ", &format_chunk(1, 2, rate_hz, 16)),
        chunk(*b"data", pcm),
    ])
}
