"""Generator of the invented sample sites; it shares no code with the toolkit that reads them."""
