"""Every text a person reads from an alert or a reason is made in this folder and nowhere else."""
