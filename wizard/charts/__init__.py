"""Charts: tidy numbers in, Altair charts out; nothing is read, stored or computed on the way."""
