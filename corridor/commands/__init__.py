"""The command line: one small file a command, each calling one public function."""
