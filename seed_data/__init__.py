"""The invented demo plant, its generator and the ugly register: nothing here was measured on a real machine."""
