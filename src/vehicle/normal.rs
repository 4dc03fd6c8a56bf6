//! The standard normal distribution's quantiles: takes a probability, gives how many standard
//! deviations lie below it.
//!
//! M. J. Wichura, "Algorithm AS 241: The percentage points of the normal distribution", Applied
//! Statistics 37(3), 1988, pp. 477–484, routine PPND16 (about 16 figures). Only sums, products, and the
//! logarithm and root of the `libm` crate: the same bits on every machine.
#![expect(clippy::excessive_precision, reason = "the published figures, digit by digit")]

/// The central region reaches this far from one half.
const SPLIT: f64 = 0.425;
/// Between the middle and the far tail.
const FAR: f64 = 5.0;

/// Numerators and denominators, highest power first.
const CENTRE: ([f64; 8], [f64; 8]) = (
    [
        2.509_080_928_730_122_672_7e3,
        3.343_057_558_358_812_810_5e4,
        6.726_577_092_700_870_085_3e4,
        4.592_195_393_154_987_145_7e4,
        1.373_169_376_550_946_112_5e4,
        1.971_590_950_306_551_442_7e3,
        1.331_416_678_917_843_774_5e2,
        3.387_132_872_796_366_608,
    ],
    [
        5.226_495_278_852_854_561e3,
        2.872_908_573_572_194_267_4e4,
        3.930_789_580_009_271_061e4,
        2.121_379_430_158_659_586_7e4,
        5.394_196_021_424_751_107_7e3,
        6.871_870_074_920_579_083e2,
        4.231_333_070_160_091_125_2e1,
        1.0,
    ],
);
const MIDDLE: ([f64; 8], [f64; 8]) = (
    [
        7.745_450_142_783_414_076_4e-4,
        2.272_384_498_926_918_458_33e-2,
        2.417_807_251_774_506_117_7e-1,
        1.270_458_252_452_368_382_58,
        3.647_848_324_763_204_605_04,
        5.769_497_221_460_691_405_5,
        4.630_337_846_156_545_295_9,
        1.423_437_110_749_683_577_34,
    ],
    [
        1.050_750_071_644_416_843_24e-9,
        5.475_938_084_995_344_946e-4,
        1.519_866_656_361_645_719_66e-2,
        1.481_039_764_274_800_745_9e-1,
        6.897_673_349_851_000_045_5e-1,
        1.676_384_830_183_803_849_4,
        2.053_191_626_637_758_821_87,
        1.0,
    ],
);
const TAIL: ([f64; 8], [f64; 8]) = (
    [
        2.010_334_399_292_288_132_65e-7,
        2.711_555_568_743_487_578_15e-5,
        1.242_660_947_388_078_438_6e-3,
        2.653_218_952_657_612_309_3e-2,
        2.965_605_718_285_048_912_3e-1,
        1.784_826_539_917_291_335_8,
        5.463_784_911_164_114_369_9,
        6.657_904_643_501_103_777_2,
    ],
    [
        2.044_263_103_389_939_785_64e-15,
        1.421_511_758_316_445_888_7e-7,
        1.846_318_317_510_054_681_8e-5,
        7.868_691_311_456_132_591e-4,
        1.487_536_129_085_061_485_25e-2,
        1.369_298_809_227_358_053_1e-1,
        5.998_322_065_558_879_376_9e-1,
        1.0,
    ],
);

/// The value below which a standard normal variable lies with probability `p`; infinite at 0 and 1,
/// not a number outside them.
#[must_use]
pub fn quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= SPLIT {
        return q * ratio(&CENTRE, SPLIT * SPLIT - q * q);
    }
    let smaller = if q < 0.0 { p } else { 1.0 - p };
    if smaller == 0.0 {
        return if q < 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let r = libm::sqrt(-libm::log(smaller));
    let far = if r <= FAR { ratio(&MIDDLE, r - 1.6) } else { ratio(&TAIL, r - FAR) };
    if q < 0.0 { -far } else { far }
}

fn ratio((above, below): &([f64; 8], [f64; 8]), x: f64) -> f64 {
    let sum = |powers: &[f64; 8]| powers.iter().fold(0.0, |sum, power| sum * x + power);
    sum(above) / sum(below)
}
