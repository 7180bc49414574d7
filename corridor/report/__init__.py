"""What people take along: result layers, map and summary, each with its receipt and the caution."""
