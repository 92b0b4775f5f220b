"""`python -m unwrap` is the command `unwrap`."""

from unwrap.cli import main

if __name__ == "__main__":
    main()
