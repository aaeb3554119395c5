"""What a print file is made of; the door is `kerfwright.formats.print_file`."""
