"""All configurations that sequences can reach side by side: what gets stuck, races, or breaks a rule."""
