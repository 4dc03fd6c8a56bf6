//! What the program says of itself.

use crate::commands::call;

#[test]
fn help_is_enough_to_start() {
    let mut all = String::new();
    for args in [
        vec!["--help"],
        vec!["check", "--help"],
        vec!["tidy", "--help"],
        vec!["why", "--help"],
        vec!["guide", "--help"],
        vec!["rehearse", "--help"],
        vec!["ready", "--help"],
        vec!["replay", "--help"],
        vec!["tally", "--help"],
        vec!["sheet", "--help"],
        vec!["network", "--help"],
        vec!["language-server", "--help"],
        vec!["completions", "--help"],
        vec!["man", "--help"],
    ] {
        all.push_str(&format!("$ stepbell {}\n", args.join(" ")));
        let help = call(&args).out("Usage").ends(0);
        let wide = help.lines().find(|line| line.chars().count() > 100);
        assert_eq!(wide, None, "{args:?}");
        all.push_str(&help);
        all.push('\n');
    }
    insta::assert_snapshot!(all);
}

/// Every command of the help is there, and every command is in the help.
#[test]
fn the_commands_of_the_help_can_be_called() {
    let help = call(&["--help"]).out("Commands:").ends(0);
    let list = help.split("Commands:\n").nth(1).expect("a list").split("\n\n").next().expect("it");
    let named: Vec<_> = list.lines().filter_map(|line| line.split_whitespace().next()).collect();
    let all = [
        "check",
        "tidy",
        "why",
        "guide",
        "rehearse",
        "ready",
        "replay",
        "tally",
        "sheet",
        "network",
        "language-server",
        "completions",
        "man",
        "help",
    ];
    assert_eq!(named, all);
    for name in named.into_iter().filter(|name| *name != "help") {
        call(&[name, "--help"]).out("Usage").ends(0);
    }
}
