"""Answers: frames and a parameter object in, frames out."""
