//! Completions and the manual page: as they are printed, complete, and used by a real shell.

use std::io::Write;
use std::process::{Command, Stdio};

use clap::CommandFactory;
use stepbell::cli::args::Cli;

use crate::commands::call;

/// Every command with its options, as declared.
fn declared() -> Vec<(String, Vec<String>)> {
    let command = Cli::command();
    let commands = command.get_subcommands().map(|command| {
        let long = command.get_arguments().filter_map(|arg| arg.get_long().map(str::to_owned));
        (command.get_name().to_owned(), long.collect())
    });
    commands.collect()
}

#[test]
fn every_shell_is_told_of_every_command_and_option() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = call(&["completions", shell]).out("stepbell").ends(0);
        for (command, options) in declared() {
            assert!(script.contains(&command), "{shell}: {command}");
            for option in options {
                assert!(script.contains(&option), "{shell}: {command} --{option}");
            }
        }
    }
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = call(&["completions", shell]).out("stepbell").ends(0);
        insta::assert_snapshot!(format!("completions-{shell}"), script);
    }
    call(&["completions", "nushell"]).err("possible values: bash").ends(2);
}

#[test]
fn the_manual_page_tells_of_every_command_and_option() {
    let page = call(&["man"]).out("SH NAME").ends(0);
    insta::assert_snapshot!("manual-page", page);
    for (command, options) in declared() {
        assert!(page.contains(&format!(".SS \"stepbell {command}\"")), "{command}");
        for option in options {
            let written = format!("\\-\\-{}", option.replace('-', "\\-"));
            assert!(page.contains(&written), "{command} {written}");
        }
    }
}

/// What bash offers for the last of these words.
fn offered(words: &[&str]) -> Option<Vec<String>> {
    let script = call(&["completions", "bash"]).out("_stepbell").ends(0);
    let (last, before) = (words[words.len() - 1], words[words.len() - 2]);
    let words: Vec<String> = words.iter().map(|word| format!("'{word}'")).collect();
    let ask = format!(
        "\nCOMP_WORDS=({}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))\n\
         _stepbell stepbell '{last}' '{before}'; printf '%s\\n' \"${{COMPREPLY[@]}}\"\n",
        words.join(" ")
    );
    let mut bash = Command::new("bash");
    bash.args(["--norc", "-s"]).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut bash = bash.spawn().ok()?;
    let input = format!("{script}{ask}");
    bash.stdin.take()?.write_all(input.as_bytes()).ok()?;
    let out = bash.wait_with_output().ok()?;
    let text = String::from_utf8(out.stdout).ok()?;
    Some(text.lines().map(str::to_owned).collect())
}

#[test]
fn a_real_shell_completes() {
    let Some(commands) = offered(&["stepbell", "ch"]) else {
        crate::journals::skipped("completion in bash: there is no bash");
        return;
    };
    assert_eq!(commands, ["check"]);
    let formats = offered(&["stepbell", "check", "--format", "sa"]);
    assert_eq!(formats, Some(vec!["sarif".to_owned()]));
}
