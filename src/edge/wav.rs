//! Sounds as WAV files: takes samples, gives the bytes of a file, and back. One channel of 16 bits is
//! written; what is read may have two channels, which are made one.

use std::io::Cursor;

use hound::{SampleFormat, WavReader, WavSpec, WavWriter};

use crate::clock::Millis;
use crate::faces::clip::Clip;

/// The longest sound that is read, in milliseconds: a prompt is a sentence, not a lecture.
pub const LONGEST: Millis = Millis(60_000);
/// The rates that are read, in samples a second.
pub const RATES: std::ops::RangeInclusive<u32> = 8_000..=96_000;

/// The bytes of a WAV file.
#[must_use]
pub fn to_wav(clip: &Clip) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: clip.rate,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut written = || -> Result<(), hound::Error> {
        let mut writer = WavWriter::new(&mut bytes, spec)?;
        for sample in &clip.samples {
            writer.write_sample(*sample)?;
        }
        writer.finalize()
    };
    // Memory takes every byte; a sound of a minute is far below the format's 4 GiB.
    let _ = written();
    bytes.into_inner()
}

/// Reads the bytes of a WAV file.
///
/// # Errors
/// A short reason, for a person: what the file is instead.
pub fn from_wav(bytes: &[u8]) -> Result<Clip, String> {
    let bad = |why: hound::Error| match why {
        hound::Error::Unsupported => "a kind of WAV file that is not read here".to_owned(),
        hound::Error::IoError(_) => "it is cut off".to_owned(),
        _ => "not a WAV file".to_owned(),
    };
    let mut reader = WavReader::new(bytes).map_err(bad)?;
    let WavSpec { channels, sample_rate, bits_per_sample, sample_format } = reader.spec();
    if sample_format != SampleFormat::Int || bits_per_sample != 16 {
        return Err(format!("{bits_per_sample}-bit samples; 16-bit whole numbers are read"));
    }
    if !(1..=2).contains(&channels) {
        return Err(format!("{channels} channels; one or two are read"));
    }
    if !RATES.contains(&sample_rate) {
        return Err(format!("{sample_rate} samples a second; 8000 to 96000 are read"));
    }
    if reader.duration() == 0 {
        return Err("it is empty".to_owned());
    }
    if u64::from(reader.duration()) * 1000 > u64::from(sample_rate) * LONGEST.0.unsigned_abs() {
        return Err(format!("longer than {LONGEST}"));
    }
    let all = reader.samples::<i16>().collect::<Result<Vec<_>, _>>().map_err(bad)?;
    let samples = match channels {
        1 => all,
        _ => all.chunks_exact(2).map(|both| both[0] / 2 + both[1] / 2).collect(),
    };
    Ok(Clip { rate: sample_rate, samples })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip(samples: &[i16]) -> Clip {
        Clip { rate: 22_050, samples: samples.to_vec() }
    }

    #[test]
    fn what_is_written_is_read() {
        let sound = clip(&[0, 1, -1, i16::MAX, i16::MIN, 7]);
        assert_eq!(from_wav(&to_wav(&sound)), Ok(sound));
    }

    #[test]
    fn what_is_no_sound_is_told_in_words() {
        assert_eq!(from_wav(b"RIFFxxxxWAVE"), Err("it is cut off".to_owned()));
        assert_eq!(from_wav(b"hello, world, hello"), Err("not a WAV file".to_owned()));
        assert_eq!(from_wav(&to_wav(&clip(&[]))), Err("it is empty".to_owned()));
        let cut = to_wav(&clip(&[5; 100]));
        assert_eq!(from_wav(&cut[..cut.len() - 20]), Err("it is cut off".to_owned()));
        let long = Clip { rate: 8000, samples: vec![0; 8000 * 61] };
        assert_eq!(from_wav(&to_wav(&long)), Err("longer than 1min".to_owned()));
    }
}
