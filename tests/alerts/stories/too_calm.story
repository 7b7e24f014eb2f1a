# Too calm at noon is no inversion.
start hill coarse
1 min calm
2 min too calm
  11:02 driver: Stop hill: too calm, 2, min 3 mph
    Stop spraying now.
    Wind 2 mph, at least 3 mph (label): 1 mph short.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: muy poco viento, 2 mph. Deje de aplicar ya. Viento 2 mph, minimo 3 mph (etiqueta): faltan 1 mph. Decide la etiqueta.
11 min calm
  11:14 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 29 min of spraying left.
    Wind measured by mast 1 min ago.
  11:14 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 29 min de pulverizacion. Decide la etiqueta.
not inversi
most 2 driver
most 2 mate
