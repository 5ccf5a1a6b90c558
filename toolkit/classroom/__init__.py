"""What a learner leaves behind: the record of attempts. Disk and clock are used here and nowhere above the front."""
