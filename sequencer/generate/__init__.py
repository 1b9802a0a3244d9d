"""From a plan to text: template environment, targets, writing the files."""
