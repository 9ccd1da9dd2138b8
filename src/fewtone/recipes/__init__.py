"""Which recipes the rules admit, what colour each has, and in what order they stand."""
