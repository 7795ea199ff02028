"""Answers drawn for people."""
