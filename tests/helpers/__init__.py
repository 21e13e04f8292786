"""What several tests share: places, small cases, writers of input files, and plain or outside second opinions."""
