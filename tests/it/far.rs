//! The big view, which is read across a garage: what it looks like, that nothing of it is lost at any
//! size, and that its bytes bring a terminal to exactly what it says.

use proptest::prelude::*;
use stepbell::clock::Millis;
use stepbell::faces::big::{BigPainter, Looks};
use stepbell::faces::block::{self, Ink, Shape};
use stepbell::faces::linear::Linear;
use stepbell::faces::reach::{ACROSS_THE_GARAGE, LEAST, PREFERRED, RowHeight};
use stepbell::faces::terminal::{Painter, Size};
use stepbell::faces::words::{Banner, Picture, RecordState, Setting, view};
use stepbell::journal::entry::EndingClass;
use stepbell::journal::happened::Question;

use crate::pictures::{
    self, acting, answered, at_risk, before_cue, closed, later, offered, setting, too_late,
};

const SMALL: Size = Size { columns: 80, rows: 24 };
const LARGE: Size = Size { columns: 200, rows: 50 };
const TINY: Size = Size { columns: 48, rows: 11 };
const DEMONSTRATION: &[Banner] = &[Banner::Demonstration];

fn looks() -> Looks {
    Looks { colour: false, ink: Ink::Blocks, row: RowHeight::default(), calm: false }
}

fn terminal(size: Size) -> vt100::Parser {
    vt100::Parser::new(
        size.rows.try_into().expect("rows"),
        size.columns.try_into().expect("columns"),
        0,
    )
}

/// The screen as a terminal shows it, without blanks at the ends of its rows.
fn screen(parser: &vt100::Parser, size: Size) -> Vec<String> {
    parser.screen().rows(0, size.columns).map(|row| row.trim_end().to_owned()).collect()
}

/// What one picture looks like on a screen of its own.
fn alone(picture: &Picture, setting: &Setting, size: Size, looks: Looks) -> Vec<String> {
    let mut parser = terminal(size);
    parser.process(&BigPainter::new(size, looks).paint(&view(picture, setting), size));
    screen(&parser, size)
}

fn shown(picture: &Picture, banners: &[Banner], size: Size) -> String {
    alone(picture, &setting(banners), size, looks()).join("\n")
}

/// Each picture, one below the other, with a rule between them.
fn gallery(size: Size, banners: &[Banner]) -> String {
    let mut text = String::new();
    for (name, picture) in pictures::all() {
        text.push_str(&format!("== {name}\n{}\n", shown(&picture, banners, size)));
    }
    text
}

#[test]
fn every_moment_at_80_by_24() {
    insta::assert_snapshot!(gallery(SMALL, DEMONSTRATION));
}

#[test]
fn the_moments_of_a_window_at_200_by_50() {
    let mut text = String::new();
    for picture in [before_cue(), acting(), too_late(), closed(), offered()] {
        text.push_str(&format!("==\n{}\n", shown(&picture, &[], LARGE)));
    }
    insta::assert_snapshot!(text);
}

/// Where the record lies can be read whole, however deep its folder is.
#[test]
fn the_records_path_is_broken_and_never_cut() {
    let path = format!("/home/{}/records/2031-05-06-show.jsonl", ["a-deep-folder"; 7].join("/"));
    let mut picture = pictures::ended();
    picture.asides = vec![format!("the record is in {path}")];
    for (size, view) in [(SMALL, "big"), (TINY, "small"), (LARGE, "big")] {
        let text = shown(&picture, DEMONSTRATION, size);
        let joined: String = text.split_whitespace().collect();
        assert!(joined.contains(&path), "{view} at {size:?}:\n{text}");
    }
}

/// Over a step the question whether a slip is to end the run leaves everything else standing.
#[test]
fn a_slip_that_ends_the_run_is_asked_about_over_its_step() {
    let mut picture = acting();
    picture.shown.question = Some(Question::ReallySlip { ends: EndingClass::Unsure });
    let text = shown(&picture, DEMONSTRATION, SMALL);
    let told = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "Was something else done than told? That ends the run: unsure.",
        "[s again within 5 s = yes, anything else = no]",
        "[== OPEN ==]",
        "Do:",
    ] {
        assert!(told.contains(part), "{part}:\n{text}");
    }
    assert!(!told.contains("answer the question"), "{text}");
    let mut linear = Linear::default();
    let lines = linear.show(&picture, &setting(&[])).join("\n");
    assert!(lines.contains("Press s again within 5 seconds if so."), "{lines}");
}

#[test]
fn a_tiny_terminal_gets_the_small_view_and_is_told_so() {
    let text = shown(&acting(), &[], TINY);
    assert!(text.contains("small view"), "{text}");
    assert!(text.contains("In your hands:") && text.contains("Your press:"), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn the_alphabet_looks_like_this() {
    let mut all = String::new();
    for ink in [Ink::Blocks, Ink::Ascii] {
        for rows in [5, 7] {
            all.push_str(&block::figure("0123456789:", rows).rows(ink).join("\n"));
            all.push_str("\n\n");
        }
    }
    let characters = "ABCDEFGHIJKLM NOPQRSTUVWXYZ 0123456789 .!',-/()\"?+:";
    for line in block::words(characters, 5, 110).expect("drawn") {
        all.push_str(&line.rows(Ink::Blocks).join("\n"));
        all.push_str("\n\n");
    }
    for which in [Shape::Dots, Shape::Outline, Shape::Arrow, Shape::Bars, Shape::Cross] {
        all.push_str(&block::shape(which, 7).rows(Ink::Blocks).join("\n"));
        all.push_str("\n\n");
    }
    insta::assert_snapshot!(all);
}

/// The height of the digits on a screen: the rows that the digit `1` of `16` or `1:05` covers, which
/// are the rows between the last line above them and the window's line.
fn digit_rows(screen: &[String]) -> usize {
    let window = screen.iter().position(|row| row.contains("[== ")).expect("the window's line");
    let drawn = |row: &&String| row.contains('█') || row.contains('▀') || row.contains('▄');
    screen[..window].iter().rev().skip_while(|row| !drawn(row)).take_while(drawn).count()
}

/// NUREG-0700: at least 16 minutes of arc at 3 m, wherever the big view is shown at all; 22 at 80 by
/// 24 with rows of 3 mm.
#[test]
fn the_digits_are_as_large_as_the_rule_asks_for() {
    for height in ["2.5", "3", "4.25", "6", "9"] {
        let row = RowHeight::parse(height).expect("a height");
        let looks = Looks { row, ..looks() };
        for columns in [60, 61, 80, 120, 200] {
            for rows in (12..=60).step_by(3) {
                let size = Size { columns, rows };
                let screen = alone(&before_cue(), &setting(DEMONSTRATION), size, looks);
                if screen.iter().any(|row| row.contains("small view")) {
                    continue;
                }
                let needed = row.rows_for(ACROSS_THE_GARAGE, LEAST);
                let drawn = digit_rows(&screen);
                assert!(drawn >= needed, "{drawn} of {needed} at {size:?}\n{}", screen.join("\n"));
            }
        }
    }
    let preferred = RowHeight::default().rows_for(ACROSS_THE_GARAGE, PREFERRED);
    let screen = alone(&before_cue(), &setting(DEMONSTRATION), SMALL, looks());
    assert_eq!(digit_rows(&screen), preferred);
}

#[test]
fn what_is_not_the_real_thing_says_so_on_every_frame_and_from_afar() {
    for (_, picture) in pictures::all() {
        for size in [SMALL, LARGE, TINY] {
            for (banner, words) in [
                (Banner::Demonstration, "DEMONSTRATION: invented numbers"),
                (Banner::Rehearsal, "REHEARSAL: there is no vehicle"),
                (Banner::Replay, "REPLAY: this has already happened"),
            ] {
                let screen = alone(&picture, &setting(&[banner]), size, looks());
                let words = if size == TINY { banner.word() } else { words };
                assert!(screen.iter().any(|row| row.contains(words)), "{}", screen.join("\n"));
                if size == TINY {
                    continue;
                }
                let last = screen.last().expect("a row");
                assert!(screen[0].starts_with("////") && last.starts_with("////"), "{screen:#?}");
                if banner != Banner::Demonstration {
                    let edged = |row: &String| row.starts_with("//") && row.ends_with("//");
                    assert!(screen.iter().all(edged), "{}", screen.join("\n"));
                }
            }
            let real = alone(&picture, &setting(&[]), size, looks()).join("\n");
            assert!(!real.contains("//"), "{real}");
        }
    }
}

/// Where hardly anything has room, the state of the window and the digits are what is left.
#[test]
fn however_small_the_terminal_is_the_window_and_the_digits_stand() {
    let told = |picture: &Picture, size| {
        let rows = alone(picture, &setting(DEMONSTRATION), size, looks());
        rows.iter().map(|row| row.trim()).collect::<Vec<_>>().join(" ")
    };
    for (columns, rows) in [(60, 9), (40, 10), (40, 8), (30, 12), (20, 8), (20, 5)] {
        let size = Size { columns, rows };
        for (picture, state, digits) in [
            (before_cue(), "OPEN", "start safely"),
            (acting(), "OPEN", "act"),
            (too_late(), "KEEP STILL", "too late to start"),
            (closed(), "CLOSED", ""),
        ] {
            let told = told(&picture, size);
            assert!(told.contains("DEMONSTRATION"), "{size:?}: {told}");
            assert!(told.contains(state) && told.contains(digits), "{size:?}: {told}");
        }
    }
    let sizes = [(40, 10), (20, 5)].map(|(columns, rows)| Size { columns, rows });
    let looks = sizes.map(|size| shown(&before_cue(), DEMONSTRATION, size).trim_end().to_owned());
    insta::assert_snapshot!(looks.join("\n==\n"));
}

/// The banners of a slower rehearsal of an invented script.
const PRACTICE: &[Banner] = &[Banner::Rehearsal, Banner::Slower(500), Banner::Demonstration];

#[test]
fn a_slower_rehearsal_and_what_its_vehicle_does_are_unmistakable() {
    for size in [SMALL, LARGE, TINY] {
        for (_, picture) in pictures::all() {
            let screen = alone(&picture, &setting(PRACTICE), size, looks()).join("\n");
            for banner in PRACTICE {
                assert!(screen.contains(banner.word()), "{screen}");
            }
        }
        let screen = alone(&answered(), &setting(PRACTICE), size, looks()).join("\n");
        let told = screen.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains("Vehicle: you hear the chime once"), "{screen}");
        assert!(told.contains("Your press: Space"), "{screen}");
        assert!(told.contains("1:05 left to act"), "{screen}");
    }
    insta::assert_snapshot!(shown(&answered(), PRACTICE, SMALL));
    // Where there is room the vehicle's doing is read from afar, in the place of what was to be done.
    insta::assert_snapshot!(shown(&answered(), PRACTICE, LARGE));
}

#[test]
fn states_differ_in_word_and_in_shape_and_need_no_colour() {
    let of = |picture: &Picture| alone(picture, &setting(&[]), SMALL, looks());
    // The columns of the shape beside the digits, which stand at one place.
    let shape = |screen: &[String]| -> Vec<String> {
        screen[8..15].iter().map(|row| row.chars().take(16).collect()).collect()
    };
    let screens =
        [of(&before_cue()), of(&acting()), of(&too_late()), of(&closed()), of(&at_risk())];
    for (word, screen) in ["OPEN", "OPEN", "KEEP STILL", "CLOSED", "AT RISK"].iter().zip(&screens) {
        assert!(screen.iter().any(|row| row.contains(word)), "{word}: {screen:#?}");
    }
    for (n, one) in screens.iter().enumerate() {
        for other in &screens[..n] {
            assert_ne!(shape(one), shape(other));
        }
    }
    let bytes = BigPainter::new(SMALL, looks()).paint(&view(&acting(), &setting(&[])), SMALL);
    let text = String::from_utf8(bytes).expect("text");
    let coloured = |rest: &str| {
        rest.find(|c: char| c.is_ascii_alphabetic()).is_some_and(|end| rest[end..].starts_with('m'))
    };
    assert!(!text.split("\x1b[").skip(1).any(coloured), "no colour: {text:?}");
}

#[test]
fn every_answer_stands_beside_the_countdown() {
    for size in [SMALL, LARGE, Size { columns: 70, rows: 22 }] {
        let screen = alone(&offered(), &setting(DEMONSTRATION), size, looks());
        let text = screen.join("\n");
        for number in 1..=8 {
            assert!(text.contains(&format!("  {number}  ")), "{number} at {size:?}\n{text}");
        }
        assert!(text.contains("1:05 left to act"), "{text}");
        assert!(digit_rows(&screen) >= 5, "{text}");
        for line in ["In your hands:", "Do:", "Your press:"] {
            assert!(text.contains(line), "{text}");
        }
    }
}

#[test]
fn a_record_in_trouble_is_never_left_out() {
    let mut picture = offered();
    picture.record = RecordState::NotSaved("the disk is full".to_owned());
    for size in [SMALL, LARGE, Size { columns: 61, rows: 17 }] {
        let text = alone(&picture, &setting(DEMONSTRATION), size, looks()).join("\n");
        assert!(text.contains("record: NOT SAVED"), "{text}");
        assert!(text.contains("1:05 left to act"), "{text}");
    }
}

/// Nobody has to remember a key while a window runs out: in every moment of a run and of a rehearsal, with
/// a trouble on show or not, the keys stand in one row at least.
#[test]
fn the_keys_are_listed_in_every_moment_at_80_by_24() {
    let keys = |hand: bool, banners: &[Banner]| {
        let mut setting = setting(banners);
        if hand {
            setting.keys.act = "Tab or v".to_owned();
            setting.keys.all = format!("Tab or v act · {}", setting.keys.all);
            setting.keys.brief.insert(0, "Tab act".to_owned());
        }
        setting
    };
    let mut moments = pictures::all();
    moments.push(("answered", answered()));
    let mut all = offered();
    all.vehicle = answered().vehicle;
    moments.push(("offered what was answered", all));
    for (name, picture) in moments.into_iter().filter(|(name, _)| *name != "ended") {
        for (hand, banners) in [(false, &[][..]), (false, DEMONSTRATION), (true, PRACTICE)] {
            for trouble in [false, true] {
                let (mut picture, setting) = (picture.clone(), keys(hand, banners));
                if trouble {
                    picture.remarks.push("no voice: prompts are only shown".to_owned());
                }
                let big = alone(&picture, &setting, SMALL, looks());
                let mut parser = terminal(SMALL);
                let seen = view(&picture, &setting);
                parser.process(&Painter::new(SMALL, false).paint(&seen, SMALL));
                for screen in [big, screen(&parser, SMALL)] {
                    let screen = screen.join("\n");
                    let wanted = ["Space done", "else", "q stop", "s slip", "a again", "b back"];
                    let wanted = wanted.into_iter().chain(hand.then_some(" act"));
                    for key in wanted {
                        assert!(screen.contains(key), "{name}: {key} in\n{screen}");
                    }
                    assert!(!trouble || screen.contains("! no voice"), "{name}:\n{screen}");
                }
            }
        }
    }
    insta::assert_snapshot!(alone(&acting(), &keys(true, PRACTICE), SMALL, looks()).join("\n"));
}

/// While only time goes by, everything but the digits and the bar stays where it is.
#[test]
fn nothing_moves_but_the_digits_and_the_bar() {
    for size in [SMALL, LARGE] {
        for calm in [false, true] {
            let looks = Looks { calm, ..looks() };
            let setting = setting(DEMONSTRATION);
            let mut painter = BigPainter::new(size, looks);
            let mut parser = terminal(size);
            parser.process(&painter.paint(&view(&acting(), &setting), size));
            let before = screen(&parser, size);
            let second = later(&acting(), Millis(1000));
            let bytes = painter.paint(&view(&second, &setting), size);
            parser.process(&bytes);
            let after = screen(&parser, size);
            let changed = before.iter().zip(&after).filter(|(one, other)| one != other).count();
            let digits = digit_rows(&before);
            let most = digits + 1 + usize::from(!calm);
            assert!(changed <= most, "{changed} rows, {digits} of digits");
            assert_eq!(before.len(), after.len());
            // Within the same second nothing at all is sent where motion is unwelcome.
            let same = painter.paint(&view(&later(&second, Millis(400)), &setting), size);
            assert!(!calm || same.is_empty(), "{same:?}");
            let bars = |screen: &[String]| screen.iter().filter(|row| row.contains('░')).count();
            assert_eq!(bars(&after) > 0, !calm);
        }
    }
}

#[test]
fn nothing_blinks_and_the_way_back_is_always_the_last_word() {
    let mut painter = BigPainter::new(SMALL, Looks { colour: true, ..looks() });
    let mut parser = terminal(SMALL);
    parser.process(b"$ stepbell guide\r\n");
    let mut all = Vec::new();
    for (_, picture) in pictures::all() {
        all.extend(painter.paint(&view(&picture, &setting(DEMONSTRATION)), SMALL));
    }
    parser.process(&all);
    assert!(parser.screen().alternate_screen() && parser.screen().hide_cursor());
    let text = String::from_utf8(all).expect("text");
    // SGR 5 and 6 are the two that blink.
    for sequence in text.split("\x1b[").skip(1) {
        let end = sequence.find(|c: char| c.is_ascii_alphabetic()).expect("a last letter");
        let blinks = sequence[..end].split(';').any(|code| code == "5" || code == "6");
        assert!(!(sequence[end..].starts_with('m') && blinks), "{sequence:?}");
    }
    parser.process(&painter.leave());
    assert!(!parser.screen().alternate_screen() && !parser.screen().hide_cursor());
    let left = screen(&parser, SMALL).join("\n");
    assert!(left.starts_with("$ stepbell guide\nDEMONSTRATION: invented"), "{left}");
    assert!(left.contains("ENDED: not learned.") && left.contains("the record is in"), "{left}");
}

#[test]
fn a_terminal_without_block_characters_gets_plain_ones() {
    let looks = Looks { ink: Ink::Ascii, ..looks() };
    let mut setting = setting(DEMONSTRATION);
    setting.keys.all = setting.keys.all.replace('·', "|");
    let text = alone(&before_cue(), &setting, SMALL, looks).join("\n");
    let drawn = text.replace("· step", "");
    assert!(drawn.is_ascii(), "{text}");
    insta::assert_snapshot!(text);
}

#[derive(Clone, Debug)]
struct Shot(Picture, Vec<Banner>, Size);

fn any_shot() -> impl Strategy<Value = Shot> {
    let banner =
        prop::sample::select(vec![Banner::Demonstration, Banner::Rehearsal, Banner::Replay]);
    let words = "[a-zA-Z鍵ü?]{1,30}( [a-z鍵ü]{1,14}){0,40}";
    (
        prop::sample::select(pictures::all()),
        prop::option::of(words),
        prop::collection::vec(words, 0..8),
        prop::collection::vec(banner, 0..3),
        (20..220_u16, 5..60_u16),
    )
        .prop_map(|((_, mut picture), act, remarks, mut banners, (columns, rows))| {
            if act.is_some() {
                picture.shown.act = act;
            }
            picture.remarks = remarks;
            banners.dedup();
            Shot(picture, banners, Size { columns, rows })
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever was painted before at whatever size, a terminal shows exactly the last picture; no row
    /// is wider or lower than the terminal; the digits' words are never lost.
    #[test]
    fn a_terminal_shows_the_last_picture_and_nothing_else(
        shots in prop::collection::vec(any_shot(), 1..5),
        colour: bool,
        calm: bool,
    ) {
        let looks = Looks { colour, calm, ..looks() };
        let mut painter = BigPainter::new(SMALL, looks);
        let mut parser = terminal(SMALL);
        for Shot(picture, banners, size) in &shots {
            let (columns, rows) = (size.columns, size.rows);
            parser.screen_mut().set_size(
                rows.try_into().expect("rows"),
                columns.try_into().expect("columns"),
            );
            let setting = setting(banners);
            let seen = view(picture, &setting);
            parser.process(&painter.paint(&seen, *size));
            let screen = screen(&parser, *size);
            prop_assert_eq!(&screen, &alone(picture, &setting, *size, looks));
            prop_assert!(painter.paint(&seen, *size).is_empty(), "the same needs no bytes");
            prop_assert!(parser.screen().alternate_screen());
            // In the small view a line may leave no room for its end.
            let small = screen.iter().any(|row| row.contains("small view"));
            let big = !small && size.columns >= 61 && size.rows >= 17;
            if let (true, Some((left, _))) = (big, seen.bar) {
                let digits = stepbell::faces::phrases::digits(left);
                // A line may end between them.
                let rows = screen.iter().map(|row| row.trim_matches(['/', ' ']));
                let text = rows.collect::<Vec<_>>().join(" ");
                prop_assert!(text.contains(&digits), "{} in\n{}", digits, screen.join("\n"));
            }
        }
    }
}
