"""What every drawing shares: colours, names of quality levels, symbols."""
