//! The tones against outside references: numpy synthesised and scipy measured what `golden.tsv` says
//! (`tests/tones/regenerate.py`); here the same is measured on the program's own samples, by means of
//! this file's own.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of samples, all small and positive"
)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use stepbell::clock::Millis;
use stepbell::edge::wav::to_wav;
use stepbell::faces::clip::Clip;
use stepbell::faces::tones::{Register, Signal, samples};

const RATE: u32 = 22_050;
const BANDS: [f64; 8] = [0.0, 200.0, 500.0, 1000.0, 2000.0, 3000.0, 5000.0, f64::MAX];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/tones")
}

fn parts(of: &[i16]) -> Vec<f64> {
    of.iter().map(|sample| f64::from(*sample) / 32767.0).collect()
}

/// The power spectrum of a sound, padded to 16,384 samples: a plain radix-2 transform.
fn spectrum(of: &[f64]) -> Vec<f64> {
    fn transform(re: Vec<f64>, im: Vec<f64>) -> (Vec<f64>, Vec<f64>) {
        let n = re.len();
        if n == 1 {
            return (re, im);
        }
        let half = |v: &[f64], odd: usize| v.iter().skip(odd).step_by(2).copied().collect();
        let (er, ei) = transform(half(&re, 0), half(&im, 0));
        let (or, oi) = transform(half(&re, 1), half(&im, 1));
        let (mut re, mut im) = (vec![0.0; n], vec![0.0; n]);
        for k in 0..n / 2 {
            let (sin, cos) = (-std::f64::consts::TAU * k as f64 / n as f64).sin_cos();
            let (tr, ti) = (cos * or[k] - sin * oi[k], cos * oi[k] + sin * or[k]);
            (re[k], im[k]) = (er[k] + tr, ei[k] + ti);
            (re[k + n / 2], im[k + n / 2]) = (er[k] - tr, ei[k] - ti);
        }
        (re, im)
    }
    let mut padded = of.to_vec();
    padded.resize(16_384, 0.0);
    let (re, im) = transform(padded, vec![0.0; 16_384]);
    re.iter().zip(&im).take(8_193).map(|(re, im)| re * re + im * im).collect()
}

fn bands(of: &[f64]) -> Vec<f64> {
    let power = spectrum(of);
    let all: f64 = power.iter().sum();
    let hz = |bin: usize| bin as f64 * f64::from(RATE) / 16_384.0;
    let inside = |lo: f64, hi: f64| {
        let bins = power.iter().enumerate();
        bins.filter(|(bin, _)| (lo..hi).contains(&hz(*bin))).map(|(_, p)| p).sum::<f64>()
    };
    BANDS.windows(2).map(|edge| 1000.0 * inside(edge[0], edge[1]) / all).collect()
}

/// Onsets and lengths of the pulses in ms: root mean square over two periods of the lowest tone, over
/// half of its height.
fn rhythm(of: &[f64], fundamental: f64) -> Vec<(f64, f64)> {
    let box_len = (2.0 * f64::from(RATE) / fundamental).round() as usize;
    let mut padded = vec![0.0; 2205];
    padded.extend(of);
    padded.extend([0.0; 2205]);
    let rms: Vec<f64> = padded
        .windows(box_len)
        .map(|w| (w.iter().map(|x| x * x).sum::<f64>() / box_len as f64).sqrt())
        .collect();
    let mut high: Vec<f64> = rms.iter().copied().filter(|r| *r > 0.05).collect();
    high.sort_by(f64::total_cmp);
    let over = 0.5 * high[high.len() / 2];
    let ms = |n: usize| (n + box_len / 2) as f64 * 1000.0 / f64::from(RATE) - 100.0;
    let mut found = Vec::new();
    let mut begun = None;
    for (n, r) in rms.iter().enumerate() {
        match (begun, *r > over) {
            (None, true) => begun = Some(ms(n)),
            (Some(at), false) => {
                found.push((at, ms(n) - at));
                begun = None;
            }
            _ => {}
        }
    }
    found
}

/// How strong one frequency is, in decibels: the sum over a Hann window, term by term.
fn strength(of: &[f64], hz: f64) -> f64 {
    let n = of.len() as f64;
    let (mut re, mut im) = (0.0, 0.0);
    for (nth, x) in of.iter().enumerate() {
        let window = 0.5 - 0.5 * (std::f64::consts::TAU * nth as f64 / (n - 1.0)).cos();
        let turn = std::f64::consts::TAU * hz * nth as f64 / f64::from(RATE);
        re += x * window * turn.cos();
        im -= x * window * turn.sin();
    }
    20.0 * re.hypot(im).log10()
}

fn numbers(text: &str) -> Vec<f64> {
    text.split(',').map(|n| n.parse().expect("a number")).collect()
}

fn near(what: &str, ours: &[f64], golden: &[f64], by: f64) {
    assert_eq!(ours.len(), golden.len(), "{what}: {ours:?} {golden:?}");
    for (one, other) in ours.iter().zip(golden) {
        assert!((one - other).abs() <= by, "{what}: {ours:.1?}, golden {golden:?}");
    }
}

#[test]
fn rhythms_levels_bands_and_harmonics_are_what_numpy_and_scipy_say() {
    let golden = std::fs::read_to_string(folder().join("golden.tsv")).expect("golden.tsv");
    let signals: BTreeMap<_, _> = Signal::ALL.map(|signal| (signal.name(), signal)).into();
    let mut rows = 0;
    for line in golden.lines().skip(1) {
        let cells: Vec<_> = line.split('\t').collect();
        let signal = signals[cells[0]];
        let (register, lowest) = match cells[1] {
            "real" => (Register::Real, 520.0),
            _ => (Register::Practice, 260.0),
        };
        let sound = samples(signal, register, RATE);
        let x = parts(&sound);
        let name = &format!("{} {}", cells[0], cells[1]);
        assert_eq!(sound.len().to_string(), cells[3], "{name}");
        let (onsets, lengths): (Vec<_>, Vec<_>) = rhythm(&x, lowest).into_iter().unzip();
        near(name, &onsets, &numbers(cells[4]), 4.0);
        near(name, &lengths, &numbers(cells[5]), 6.0);
        let peak = 1000.0 * x.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        near(name, &[peak], &numbers(cells[6]), 3.0);
        let rms = 1000.0 * (x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64).sqrt();
        near(name, &[rms], &numbers(cells[7]), 2.0);
        near(name, &bands(&x), &numbers(cells[8]), 3.0);
        if cells[9] != "-" {
            let longest = signal.pulses().iter().rev().max_by_key(|p| p.lasts).expect("one");
            let first = (longest.at + (longest.lasts - 50) / 2) as usize * 2205 / 100;
            let inside = &x[first..][..1102];
            let golden = numbers(cells[9]);
            let all: Vec<_> =
                (1..=golden.len()).map(|k| strength(inside, k as f64 * lowest)).collect();
            let most = all.iter().copied().fold(f64::MIN, f64::max);
            let under: Vec<_> = all.iter().map(|one| 10.0 * (one - most)).collect();
            near(name, &under, &golden, 5.0);
        }
        rows += 1;
    }
    assert_eq!(rows, 14);
}

/// IEC 60601-1-8 table 4: a fundamental of 150 to 1000 Hz, at least four harmonics in 300 to 4000 Hz,
/// within 15 dB of each other. MIL-STD-1472E 5.3.3.1: 200 to 5000 Hz.
#[test]
fn every_pulse_has_the_band_that_the_standards_ask_for() {
    for (register, lowest, many) in [(Register::Real, 520.0, 5), (Register::Practice, 260.0, 8)] {
        let x = parts(&samples(Signal::Missed, register, RATE));
        let inside = &x[1000..8000];
        let lines: Vec<_> = (1..=many).map(|k| k as f64 * lowest).collect();
        let heard: Vec<_> = lines
            .iter()
            .filter(|hz| (300.0..=4000.0).contains(*hz))
            .map(|hz| strength(inside, *hz))
            .collect();
        let most = heard.iter().copied().fold(f64::MIN, f64::max);
        assert!(heard.len() >= 4 && heard.iter().all(|one| most - one < 15.0), "{heard:?}");
        for signal in Signal::ALL {
            let bands = bands(&parts(&samples(signal, register, RATE)));
            let inside: f64 = bands[1..6].iter().sum();
            assert!(inside > 995.0, "{signal:?}: {bands:?}");
        }
    }
}

#[test]
fn nothing_clips_clicks_or_changes_at_any_rate() {
    for rate in [8_000, 16_000, 22_050, 44_100, 48_000, 96_000] {
        for register in [Register::Real, Register::Practice] {
            for signal in Signal::ALL {
                let sound = samples(signal, register, rate);
                let peak = sound.iter().map(|s| s.unsigned_abs()).max().expect("a sound");
                assert!((20_000..=23_200).contains(&peak), "{signal:?} {rate}: {peak}");
                assert_eq!(sound, samples(signal, register, rate));
                let (first, last) =
                    (sound[0].unsigned_abs(), sound[sound.len() - 1].unsigned_abs());
                assert!(first < 600 && last < 600, "{signal:?} {rate}: {first} {last}");
                let length = Clip { rate, samples: sound }.length();
                assert!((length.0 - signal.length().0).abs() <= 1, "{signal:?} {rate}: {length}");
            }
        }
    }
}

/// MIL-STD-1472E 5.3.4.3.3: the first half second of a signal is like no other's, and a signal lasts at
/// least as long. The tick is heard only in a series, after it was announced.
#[test]
fn the_four_signals_differ_in_their_first_half_second() {
    let on = |signal: Signal, ms: i64| {
        signal.pulses().iter().any(|p| (p.at..p.at + p.lasts).contains(&ms))
    };
    let distinct = [Signal::Prepare, Signal::Now, Signal::Missed, Signal::Ten];
    for (nth, one) in distinct.iter().enumerate() {
        assert!(one.length() >= Millis(500), "{one:?}");
        for other in &distinct[..nth] {
            let unlike = (0..500).filter(|ms| on(*one, *ms) != on(*other, *ms)).count();
            assert!(unlike >= 150, "{one:?} {other:?}: {unlike} ms unlike");
        }
    }
    // The words follow the lead of the now tone at once, by the length that the proof counts.
    assert_eq!(Signal::NowBeforeWords.length(), stepbell::procedure::timing::NOW_TONE);
}

/// The length that another program reads from the file.
#[test]
fn an_independent_reader_finds_the_same_length() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tones");
    std::fs::create_dir_all(&folder).expect("a folder");
    let reader = "import sys, wave\nfor name in sys.argv[1:]:\n w = wave.open(name)\n \
                  print(w.getnframes(), w.getframerate(), w.getnchannels(), w.getsampwidth())";
    let mut command = Command::new("python3");
    command.arg("-c").arg(reader);
    let mut expected = String::new();
    for signal in Signal::ALL {
        let clip = Clip { rate: RATE, samples: samples(signal, Register::Real, RATE) };
        let path = folder.join(format!("{}.wav", signal.name()));
        std::fs::write(&path, to_wav(&clip)).expect("writable");
        expected.push_str(&format!("{} {RATE} 1 2\n", clip.samples.len()));
        command.arg(path);
    }
    let Ok(read) = command.output() else {
        return skipped("the length of WAV files by another reader: no python3");
    };
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    assert_eq!(String::from_utf8_lossy(&read.stdout), expected);
}

#[test]
fn the_golden_table_is_what_its_script_makes() {
    let made = Command::new("python3").arg(folder().join("regenerate.py")).output();
    let made = match made {
        Ok(made) if made.status.success() => made,
        Ok(made) if String::from_utf8_lossy(&made.stderr).contains("ModuleNotFoundError") => {
            return skipped("the tones' table against its script: no numpy or scipy");
        }
        Ok(made) => panic!("{}", String::from_utf8_lossy(&made.stderr)),
        Err(_) => return skipped("the tones' table against its script: no python3"),
    };
    let committed = std::fs::read(folder().join("golden.tsv")).expect("golden.tsv");
    assert!(made.stdout == committed, "golden.tsv is stale: regenerate.py --write");
}

#[expect(clippy::print_stderr, reason = "what was not tested is said")]
fn skipped(what: &str) {
    eprintln!("SKIPPED: {what}");
}
