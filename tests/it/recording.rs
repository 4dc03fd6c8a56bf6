//! The record on the disk: what is told as saved is saved, whatever fails.
