"""The sowing plan and the outlook of what stands."""
