# Rain is forecast sooner than the label's hours after spraying.
start hill coarse
1 min calm
2 min rain in 3 h
  11:02 driver: Stop hill: rain in 3.3 h
    Stop spraying now.
    Rain-free time after 3.3 h, at least 4.0 h (label): 0.7 h short.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: lluvia en 3.3 h. Deje de aplicar ya. Tiempo sin lluvia después 3.3 h, minimo 4.0 h (etiqueta): faltan 0.7 h. Decide la etiqueta.
not too windy
most 1 driver
most 1 mate
