//! Sounds as WAV files: takes samples, gives the bytes of a file, and back. One channel of 16 bits is
//! written; what is read may have two channels, which are made one.

use std::io::Cursor;

use hound::{SampleFormat, WavReader, WavSpec, WavWriter};

use crate::clock::Millis;

/// The longest sound that is read, in milliseconds: a prompt is a sentence, not a lecture.
pub const LONGEST: Millis = Millis(60_000);
/// The rates that are read, in samples a second.
pub const RATES: std::ops::RangeInclusive<u32> = 8_000..=96_000;

/// A sound of one channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clip {
    /// Samples a second.
    pub rate: u32,
    /// The samples.
    pub samples: Vec<i16>,
}

impl Clip {
    /// How long it is, rounded up to a whole millisecond.
    #[must_use]
    pub fn length(&self) -> Millis {
        let samples = i64::try_from(self.samples.len()).unwrap_or(i64::MAX / 1000);
        let rate = i64::from(self.rate.max(1));
        Millis((samples * 1000 + rate - 1) / rate)
    }

    /// The bytes of a WAV file.
    #[must_use]
    pub fn to_wav(&self) -> Vec<u8> {
        let spec = WavSpec {
            channels: 1,
            sample_rate: self.rate,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let mut bytes = Cursor::new(Vec::new());
        let written = || -> Result<(), hound::Error> {
            let mut writer = WavWriter::new(&mut bytes, spec)?;
            for sample in &self.samples {
                writer.write_sample(*sample)?;
            }
            writer.finalize()
        };
        // Memory takes every byte; a sound of a minute is far below the format's 4 GiB.
        let _ = { written }();
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

    /// Without the silence before and after it: what is quieter than `floor` at either end, but for
    /// `kept` at each.
    #[must_use]
    pub fn trimmed(mut self, floor: i16, kept: Millis) -> Clip {
        let loud = |sample: &i16| sample.unsigned_abs() > floor.unsigned_abs();
        let kept = usize::try_from(kept.0 * i64::from(self.rate) / 1000).unwrap_or(0);
        let last = self.samples.iter().rposition(loud).unwrap_or(0);
        let first = self.samples.iter().position(loud).unwrap_or(0);
        self.samples.truncate(last.saturating_add(1 + kept).min(self.samples.len()));
        self.samples.drain(..first.saturating_sub(kept));
        self
    }
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
        assert_eq!(Clip::from_wav(&sound.to_wav()), Ok(sound));
    }

    #[test]
    fn lengths_are_rounded_up() {
        assert_eq!(clip(&[0; 22_050]).length(), Millis(1000));
        assert_eq!(clip(&[0; 22_051]).length(), Millis(1001));
        assert_eq!(clip(&[0; 1]).length(), Millis(1));
    }

    #[test]
    fn what_is_no_sound_is_told_in_words() {
        assert_eq!(Clip::from_wav(b"RIFFxxxxWAVE"), Err("it is cut off".to_owned()));
        assert_eq!(Clip::from_wav(b"hello, world, hello"), Err("not a WAV file".to_owned()));
        assert_eq!(Clip::from_wav(&clip(&[]).to_wav()), Err("it is empty".to_owned()));
        let cut = clip(&[5; 100]).to_wav();
        assert_eq!(Clip::from_wav(&cut[..cut.len() - 20]), Err("it is cut off".to_owned()));
        let long = Clip { rate: 8000, samples: vec![0; 8000 * 61] };
        assert_eq!(Clip::from_wav(&long.to_wav()), Err("longer than 1min".to_owned()));
    }

    #[test]
    fn silence_at_the_ends_is_taken_off_but_for_a_little() {
        let mut samples = vec![3; 1000];
        samples.extend([900; 50]);
        samples.extend([2; 2000]);
        let trimmed = clip(&samples).trimmed(100, Millis(10));
        assert_eq!(trimmed.samples.len(), 220 + 50 + 220);
        assert_eq!(clip(&[1; 500]).trimmed(100, Millis(10)).samples.len(), 221);
    }
}
